// Timers are instants, not counters: what is shown is the difference between two moments, so that a
// tablet that slept, a page loaded anew or a stopped server change nothing.

let offMs = 0;

/** How far the studio's clock is before this device's [ms]; small differences are the network's. */
export function setOff(ms: number): void {
  offMs = Math.abs(ms) < 1500 ? 0 : ms;
}

/** This moment by the studio's clock [ms since 1970]. */
export function studioNow(): number {
  return Date.now() + offMs;
}

/** 754 -> "12:34"; hours in front where there are some. */
export function digits(seconds: number): string {
  const whole = Math.max(0, Math.floor(seconds));
  const two = (n: number): string => String(n).padStart(2, "0");
  const hours = Math.floor(whole / 3600);
  const rest = `${two(Math.floor((whole % 3600) / 60))}:${two(whole % 60)}`;
  return hours ? `${hours}:${rest}` : rest;
}

/** Only one thing rings: whatever is due and was not silenced. */
export const ringing = new Map<string, string>();

class Clock extends HTMLElement {
  private tick = 0;
  private big: HTMLElement | null = null;
  private bar: HTMLProgressElement | null = null;

  connectedCallback(): void {
    if (!this.instant("start")) return;
    this.big = document.createElement("p");
    this.big.className = "big-time";
    this.big.setAttribute("role", "timer");
    this.prepend(this.big);
    if (this.instant("due")) {
      this.bar = document.createElement("progress");
      this.bar.className = "bar";
      this.bar.max = 1;
      this.bar.setAttribute("aria-label", "How much of its time is over");
      this.big.after(this.bar);
    }
    this.show();
    this.tick = window.setInterval(() => this.show(), 250);
  }

  disconnectedCallback(): void {
    window.clearInterval(this.tick);
    ringing.delete(this.alarmKey());
  }

  private instant(name: string): number {
    return Date.parse(this.dataset[name] ?? "") || 0;
  }

  /** Names this alarm: the same step given more time rings anew. */
  private alarmKey(): string {
    return `${this.dataset["key"]}|${this.dataset["due"]}`;
  }

  private show(): void {
    const now = studioNow();
    const [start, due, most] = [this.instant("start"), this.instant("due"), this.instant("most")];
    const gone = (now - start) / 1000;
    const left = (due - now) / 1000;
    const level = most && now > most ? "too long" : due && left < 0 ? "late" : "";
    if (this.dataset["level"] !== level) this.dataset["level"] = level;
    // What is left is rounded up, so that 0:00 means over.
    const time = !due ? digits(gone) : left >= 0 ? digits(Math.ceil(left)) : `+${digits(-left)}`;
    let words = !due ? "since it was begun" : left >= 0 ? "left" : "over its time";
    if (level === "too long") words = `over its time; too long by ${digits((now - most) / 1000)}`;
    const text = `${time} ${words}`;
    if (this.big && this.big.dataset["text"] !== text) {
      this.big.dataset["text"] = text;
      const small = document.createElement("small");
      small.textContent = words;
      const shown = document.createElement("span");
      shown.textContent = time;
      this.big.dataset["long"] = time.length > 6 ? "yes" : "";
      this.big.replaceChildren(shown, " ", small);
    }
    if (this.bar) this.bar.value = Math.min(1, Math.max(0, gone / Math.max(1, (due - start) / 1000)));
    if (due && left <= 0) ringing.set(this.alarmKey(), this.dataset["name"] ?? "");
    else ringing.delete(this.alarmKey());
  }
}

if (!customElements.get("qw-clock")) customElements.define("qw-clock", Clock);

/** A sound made here, after the first touch (browsers allow none before). */
export class Bell {
  private sound: AudioContext | null = null;
  private last = 0;

  get ready(): boolean {
    return this.sound?.state === "running";
  }

  /** To be called from a touch or a key. */
  wake(): void {
    try {
      this.sound ??= new AudioContext();
      if (this.sound.state !== "running") void this.sound.resume();
    } catch {
      this.sound = null;
    }
  }

  /** Three short tones; repeated by who calls, every three seconds at most. */
  ring(): void {
    const now = Date.now();
    if (!this.sound || this.sound.state !== "running" || now - this.last < 3000) return;
    this.last = now;
    for (const [at, pitch] of [[0, 880], [0.25, 660], [0.5, 880]] as const) {
      const tone = this.sound.createOscillator();
      const loud = this.sound.createGain();
      const begin = this.sound.currentTime + at;
      tone.frequency.value = pitch;
      loud.gain.setValueAtTime(0.0001, begin);
      loud.gain.exponentialRampToValueAtTime(0.5, begin + 0.02);
      loud.gain.exponentialRampToValueAtTime(0.0001, begin + 0.2);
      tone.connect(loud).connect(this.sound.destination);
      tone.start(begin);
      tone.stop(begin + 0.22);
    }
  }
}

/** Keeps the screen on while the page is seen, where the browser allows it; says how it stands. */
export class Awake {
  private held: WakeLockSentinel | null = null;
  says = "";

  async hold(): Promise<string> {
    if (!("wakeLock" in navigator)) {
      this.says = window.isSecureContext
        ? "This browser cannot keep the screen on: set the device's own sleep time to the longest."
        : "The screen is not kept on, since this address is not encrypted: set the device's own sleep time to the longest.";
      return this.says;
    }
    if (this.held && !this.held.released) return this.says;
    try {
      this.held = await navigator.wakeLock.request("screen");
      this.held.addEventListener("release", () => {
        this.says = "The screen may sleep now.";
      });
      this.says = "The screen stays on while this page is seen.";
    } catch {
      this.says = "The device does not let the screen stay on now (perhaps its battery is low).";
    }
    return this.says;
  }
}
