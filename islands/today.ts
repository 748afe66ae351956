// The bench page: forms go into the outbox, the page follows what is saved here and elsewhere.
import { Awake, Bell, ringing, setOff } from "./clock";
import { Outbox, type Answer, type Held } from "./outbox";
import { markHeld, showOutbox } from "./outbox_view";
import { settings, type Choices } from "./today_settings";
import { holdToPress, onKeys, Touching } from "./press";

const POLL_MS = 2500;
const UNDO_MS = 10_000;
const TOUCHED_MS = 100;

function el<K extends keyof HTMLElementTagNameMap>(
  name: K, className = "", text = "",
): HTMLElementTagNameMap[K] {
  const made = document.createElement(name);
  if (className) made.className = className;
  if (text) made.textContent = text;
  return made;
}

class Today extends HTMLElement {
  private outbox = new Outbox();
  private bell = new Bell();
  private awake = new Awake();
  private touching = new Touching();
  private choices!: Choices;
  private mark = "";
  private dirty = false;
  private away = "";
  private silenced = new Set<string>();
  private tickTimer = 0;
  private heldTimer = 0;
  private refreshTimer = 0;
  private refreshing = false;

  connectedCallback(): void {
    if (this.dataset["ready"]) return;
    this.dataset["ready"] = "yes";
    this.mark = this.bench.dataset["mark"] ?? "";
    const off = Number(this.stored("quirewell-clock-off") || "0");
    setOff(off);
    this.outbox.clockOff = off ? (off / 1000).toFixed(1) : "";
    this.choices = settings(this.querySelector<HTMLElement>("[data-settings]"));
    this.addEventListener("submit", (event) => this.submitted(event));
    this.addEventListener("input", (event) => {
      if (this.bench.contains(event.target as Node)) this.dirty = true;
    });
    for (const name of ["pointerdown", "keydown"]) {
      document.addEventListener(name, () => this.bell.wake(), { capture: true });
    }
    this.outbox.addEventListener("change", () => this.showOutbox());
    this.outbox.addEventListener("saved", (event) => this.saved((event as CustomEvent).detail));
    this.outbox.addEventListener("refused", (event) => this.refused((event as CustomEvent).detail));
    holdToPress(this);
    onKeys(this, () => this.choices.keys);
    void this.outbox.begin();
    void this.poll();
    window.setInterval(() => this.ring(), 500);
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden) void this.ask();
    });
  }

  private get bench(): HTMLElement {
    return this.querySelector<HTMLElement>("#bench")!;
  }

  private stored(name: string): string {
    try {
      return localStorage.getItem(name) ?? "";
    } catch {
      return "";
    }
  }

  // --- what is typed here -------------------------------------------------------------------

  private submitted(event: SubmitEvent): void {
    const form = event.target as HTMLFormElement;
    if (!form.dataset["entry"]) return;
    event.preventDefault();
    const command = form.dataset["entry"];
    if (command === "reading" && !form.dataset["right"]) {
      void this.readBack(form);
      return;
    }
    void this.keep(form, command);
  }

  private async keep(form: HTMLFormElement, command: string): Promise<void> {
    const data = new FormData(form);
    const fields: [string, string][] = [];
    let photo: File | undefined;
    for (const [name, value] of data) {
      if (typeof value === "string") fields.push([name, value]);
      else if (value.size) photo = value;
    }
    if (command === "photo" && !photo) {
      this.tell("Choose or take a picture first.", "care");
      return;
    }
    if (command === "photo") fields.push(["filename", photo?.name ?? ""]);
    if (!fields.some(([name]) => name === "device")) fields.push(["device", this.choices.device()]);
    const says = this.words(form, command, data);
    const kind = form.querySelector<HTMLSelectElement>("select[name=kind]")?.selectedOptions[0];
    const wets = form.dataset["hold"] === "yes" || kind?.dataset["wets"] === "yes";
    // The form is free for the next entry at once: what is typed while this one is being kept stays.
    this.dirty = false;
    delete form.dataset["right"];
    form.querySelector(".readback")?.remove();
    form.closest("details")?.removeAttribute("open");
    form.reset();
    await this.outbox.add(fields, says, photo, wets);
  }

  private words(form: HTMLFormElement, command: string, data: FormData): string {
    const chosen = (name: string): string =>
      form.querySelector<HTMLSelectElement>(`select[name="${name}"]`)?.selectedOptions[0]
        ?.textContent ?? "";
    const says = form.dataset["says"] ?? "";
    if (command === "reading") return `${String(data.get("value"))}, ${chosen("place")}`;
    if (command === "note") return `${says}: “${String(data.get("words")).slice(0, 60)}”`;
    if (!says && command === "start") return `Begun: ${chosen("kind")}, sheets ${String(data.get("places"))}`;
    return says;
  }

  /** The first touch reads it back, the second saves it. */
  private async readBack(form: HTMLFormElement): Promise<void> {
    const value = String(new FormData(form).get("value") ?? "").trim();
    form.querySelector(".readback")?.remove();
    const box = el("div", "readback");
    box.setAttribute("role", "alert");
    let sentence = "";
    try {
      const response = await fetch("/today/read", {
        method: "POST", body: new URLSearchParams(this.texts(form)), cache: "no-store",
        signal: AbortSignal.timeout(2500),
      });
      const told = (await response.json()) as { says: string; problems?: unknown };
      if (!response.ok && told.problems) {
        box.append(el("p", "wrong", told.says));
        form.querySelector("[data-read]")?.before(box);
        form.querySelector<HTMLInputElement>("[name=value]")?.focus();
        return;
      }
      sentence = `${told.says}: right?`;
    } catch {
      if (!value) return;
      const where = form.querySelector<HTMLSelectElement>("[name=place]")?.selectedOptions[0];
      sentence = `“${value}” on ${where?.textContent ?? "it"}: right? The studio is away and will read it when it is back.`;
    }
    box.append(el("p", "", sentence));
    const right = el("button", "act", "Right, save it");
    right.dataset["right"] = "";
    right.type = "button";
    right.addEventListener("click", () => {
      form.dataset["right"] = "yes";
      form.requestSubmit();
    });
    box.append(right);
    form.querySelector("[data-read]")?.after(box);
    right.focus({ preventScroll: true });
    box.scrollIntoView({ block: "nearest" });
    form.addEventListener("input", () => box.remove(), { once: true });
  }

  private texts(form: HTMLFormElement): [string, string][] {
    return [...new FormData(form)].filter(
      (pair): pair is [string, string] => typeof pair[1] === "string",
    );
  }

  // --- what the studio says -----------------------------------------------------------------

  private saved({ entry, answer }: { entry: Held; answer: Answer }): void {
    this.tell(answer.says, "good", answer.undo ? entry : undefined, answer.clock);
    void this.refresh();
  }

  private refused({ entry, answer }: { entry: Held; answer: Answer }): void {
    const why = answer.says.length < 160 ? answer.says : "Why, and what to do, stands at the top.";
    this.tell(`Not saved: ${entry.says}. ${why}`, "stop");
    void this.refresh();
  }

  /** The line that says what became of the last touch, with the way back for ten seconds. */
  private tell(says: string, kind: "good" | "care" | "stop", entry?: Held, more = ""): void {
    const line = el("div", `say ${kind}`);
    const words = el("p");
    if (kind === "good") {
      words.append(el("span", "tickmark", "✓ "), el("span", "what", "Saved on the disk: "));
    }
    words.append(`${says}${kind === "good" ? "." : ""} ${more}`);
    line.append(words);
    if (entry) {
      const undo = el("button", "quiet", "Undo");
      undo.type = "button";
      undo.addEventListener("click", () => {
        const item = entry.fields.find(([name]) => name === "item")?.[1] ?? "";
        void this.outbox.add(
          [["item", item], ["command", "undo"], ["entry", entry.once], ["device", this.choices.device()]],
          `Taken back: ${entry.says}`,
        );
        line.remove();
      });
      line.append(undo);
    }
    const tick = this.querySelector<HTMLElement>("#tick");
    tick?.replaceChildren(line);
    window.clearTimeout(this.tickTimer);
    this.tickTimer = window.setTimeout(() => tick?.replaceChildren(), UNDO_MS);
  }

  private showOutbox(): void {
    markHeld(this.bench, this.outbox);
    this.dataset["held"] = String(this.outbox.held.length);
    this.choices.lines({ lasting: this.outbox.lasting });
    this.showHeld();
  }

  /** What is held stands above the rest and pushes it down: never under a finger. */
  private showHeld(): void {
    window.clearTimeout(this.heldTimer);
    if (this.touching.now) {
      this.heldTimer = window.setTimeout(() => this.showHeld(), TOUCHED_MS);
      return;
    }
    const box = this.querySelector<HTMLElement>("#outbox");
    if (box) showOutbox(box, this.outbox, this.away);
  }

  /** What the studio's clock says, against this device's. */
  private heard(now: string, sentAt: number): void {
    // An answer that was long on the way says too little about the moment it was given.
    if (Date.now() - sentAt > 2000) return;
    const off = Date.parse(now) - (Date.now() + sentAt) / 2;
    setOff(off);
    this.outbox.clockOff = (off / 1000).toFixed(1);
    try {
      localStorage.setItem("quirewell-clock-off", String(Math.round(off)));
    } catch {
      // a device that keeps nothing asks again each time
    }
    this.choices.lines({ offMs: off });
  }

  private async poll(): Promise<void> {
    if (!document.hidden) await this.ask();
    window.setTimeout(() => void this.poll(), POLL_MS);
  }

  private async ask(): Promise<void> {
    const sentAt = Date.now();
    try {
      const response = await fetch(this.dataset["state"] ?? "", {
        cache: "no-store", headers: { Accept: "application/json" },
        signal: AbortSignal.timeout(4000),
      });
      const told = (await response.json()) as { mark: string; now: string; says: string; sign_in?: string };
      if (told.sign_in) {
        this.outbox.askedIn(told.sign_in, told.says);
        return;
      }
      if (this.outbox.signIn) {
        this.outbox.signIn = "";
        this.outbox.now();
      }
      this.heard(told.now, sentAt);
      if (this.away) {
        this.away = "";
        this.showOutbox();
        this.outbox.now();
      }
      if (told.mark !== this.mark) await this.refresh();
    } catch {
      if (!this.away) {
        this.away = this.bench.dataset["now"] ?? new Date().toISOString();
        this.showOutbox();
      }
    }
    if (this.querySelector("qw-clock")) this.choices.lines({ awake: await this.awake.hold() });
    this.choices.lines({ sound: this.bell.ready });
  }

  /** Show the page as it is now; never under what somebody is typing, nor under a finger. */
  private async refresh(): Promise<void> {
    window.clearTimeout(this.refreshTimer);
    if (this.touching.now || this.refreshing) {
      this.refreshTimer = window.setTimeout(() => void this.refresh(), TOUCHED_MS);
      return;
    }
    if (this.dirty || this.querySelector(".readback")) {
      this.offerRefresh();
      return;
    }
    this.refreshing = true;
    try {
      const response = await fetch(location.href, { cache: "no-store", signal: AbortSignal.timeout(6000) });
      const text = await response.text();
      const fresh = new DOMParser().parseFromString(text, "text/html").querySelector<HTMLElement>("#bench");
      if (response.ok && fresh) await this.renew(fresh);
    } catch {
      // the next asking tries again
    } finally {
      this.refreshing = false;
    }
  }

  private async renew(fresh: HTMLElement): Promise<void> {
    while (this.touching.now) await new Promise((done) => window.setTimeout(done, TOUCHED_MS));
    if (this.dirty || this.querySelector(".readback")) return;
    const open = [...this.bench.querySelectorAll("details[open][id]")].map((one) => one.id);
    const focused = document.activeElement?.id;
    this.mark = fresh.dataset["mark"] ?? "";
    this.bench.replaceWith(document.adoptNode(fresh));
    for (const id of open) this.querySelector(`#${CSS.escape(id)}`)?.setAttribute("open", "");
    markHeld(this.bench, this.outbox);
    if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
  }

  private offerRefresh(): void {
    if (this.querySelector("[data-newer]")) return;
    const line = el("div", "say care");
    line.dataset["newer"] = "";
    const words = el("p", "", "Something was saved meanwhile, here or on another device. What you are typing stays.");
    const show = el("button", "quiet", "Show it");
    show.type = "button";
    show.addEventListener("click", () => {
      this.dirty = false;
      this.querySelector(".readback")?.remove();
      void this.refresh();
    });
    line.append(words, show);
    this.bench.prepend(line);
  }

  // --- sound --------------------------------------------------------------------------------

  private ring(): void {
    const due = [...ringing].filter(([key]) => !this.silenced.has(key) && !this.wasSilenced(key));
    const here = this.querySelector<HTMLElement>("[data-ringing]");
    if (!due.length) {
      here?.remove();
      return;
    }
    if (this.choices.sound) this.bell.ring();
    if (here?.dataset["ringing"] === due.map(([key]) => key).join()) return;
    here?.remove();
    const line = el("div", "say stop");
    line.dataset["ringing"] = due.map(([key]) => key).join();
    line.setAttribute("role", "alert");
    const names = due.map(([, name]) => name).join("; ");
    const quiet = el("button", "", "Silence");
    quiet.type = "button";
    quiet.dataset["silence"] = "";
    quiet.addEventListener("click", () => {
      for (const [key] of due) this.silence(key);
      line.remove();
    });
    line.append(el("p", "what", `Time is up: ${names}.`), quiet);
    this.querySelector("#ring")?.replaceChildren(line);
  }

  /** Silenced on this device, over a reload too; what is given more time rings anew. */
  private silence(key: string): void {
    this.silenced.add(key);
    try {
      const kept = JSON.parse(this.stored("quirewell-silenced") || "[]") as string[];
      localStorage.setItem("quirewell-silenced", JSON.stringify([...kept.slice(-40), key]));
    } catch {
      // it may ring once more after a reload
    }
  }

  private wasSilenced(key: string): boolean {
    const kept = this.stored("quirewell-silenced");
    if (!kept.includes(JSON.stringify(key).slice(1, -1))) return false;
    this.silenced.add(key);
    return true;
  }
}

customElements.define("qw-today", Today);
if (window.isSecureContext && "serviceWorker" in navigator) {
  navigator.serviceWorker.register("/sw.js").catch(() => undefined);
}
