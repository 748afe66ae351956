// A button that wets paper, or ends its bath, is held until its bar is full: a drop of water that
// lands on the screen, or a sleeve, does not press it. With keys and a pedal it is pressed twice.

const HOLD_MS = 700;
const TWICE_MS = 2500;
/** After a touch this long a tablet may send no click of its own. */
const LONG_MS = 450;
const CLICK_COMES_MS = 350;
const STUCK_MS = 10_000;
/** A second touch sooner than this is the same one, doubled. */
const DOUBLE_MS = 500;

/** Whether something is being touched now: nothing may move under a finger, for what it then lifts
 * from, and what the click lands on, would be another thing than was touched. */
export class Touching {
  private down = new Map<number, number>();
  private lifted = -Infinity;

  constructor() {
    const listen = (name: string, act: (event: PointerEvent) => void): void =>
      document.addEventListener(name, (event) => act(event as PointerEvent), { capture: true });
    listen("pointerdown", (event) => this.down.set(event.pointerId, performance.now()));
    listen("pointerup", (event) => {
      if (this.down.delete(event.pointerId)) this.lifted = performance.now();
    });
    listen("pointercancel", (event) => this.down.delete(event.pointerId));
    window.addEventListener("click", () => (this.lifted = -Infinity), { capture: true });
  }

  /** From the touch until its click has been heard; a finger whose lifting was lost is forgotten. */
  get now(): boolean {
    const time = performance.now();
    for (const [id, since] of this.down) if (time - since > STUCK_MS) this.down.delete(id);
    return this.down.size > 0 || time - this.lifted < CLICK_COMES_MS;
  }
}

function needsHold(button: Element | null): HTMLButtonElement | null {
  const found = button?.closest("button");
  return found?.closest("form[data-hold]") && !found.type.startsWith("reset") ? found : null;
}

let hintTimer = 0;

/** Said outside the part that is renewed, and gone after a moment. */
function hint(words: string): void {
  const line = document.querySelector<HTMLElement>("#hint");
  if (!line) return;
  line.textContent = words;
  window.clearTimeout(hintTimer);
  hintTimer = window.setTimeout(() => (line.textContent = ""), TWICE_MS + 500);
}

export function holdToPress(root: HTMLElement): void {
  let timer = 0;
  let armed = { what: "", at: 0 };
  let button: HTMLButtonElement | null = null;
  let touched: { main: HTMLButtonElement | null; at: number } = { main: null, at: 0 };
  /** Until when a click belongs to a touch that has acted already. */
  let spent = -Infinity;
  let lastMain = -Infinity;
  const stop = (): void => {
    window.clearTimeout(timer);
    if (button) delete button.dataset["filling"];
    button = null;
  };
  const act = (pressed: HTMLButtonElement): void => {
    stop();
    spent = Infinity;
    pressed.form?.requestSubmit(pressed);
  };
  root.addEventListener("pointerdown", (event) => {
    spent = -Infinity;
    const pressed = needsHold(event.target as Element);
    const main = (event.target as Element).closest<HTMLButtonElement>("[data-main]");
    touched = { main: pressed || event.button !== 0 ? null : main, at: event.timeStamp };
    if (!pressed || event.button !== 0) return;
    stop();
    button = pressed;
    button.dataset["filling"] = "yes";
    timer = window.setTimeout(() => act(pressed), HOLD_MS);
  });
  root.addEventListener("pointerup", (event) => {
    const long = event.timeStamp - touched.at;
    // A page that was busy counts by when it was touched, not by when it heard of it.
    if (button && long >= HOLD_MS) act(button);
    // Whoever holds every button holds also those that need no holding.
    const main = touched.main;
    if (main && !main.disabled && long > LONG_MS && main.contains(event.target as Node)) {
      timer = window.setTimeout(() => act(main), 80);
    }
  });
  document.addEventListener("pointerup", () => {
    if (spent === Infinity) spent = performance.now() + CLICK_COMES_MS;
  });
  document.addEventListener(
    "click",
    (event) => {
      if (!button) window.clearTimeout(timer);
      if (event.detail === 0) return;
      const now = performance.now();
      // Done touched twice would begin what comes next: the page may show it there by then.
      const main = (event.target as Element).closest("[data-main]");
      const doubled = main !== null && now - lastMain < DOUBLE_MS;
      if (main && !doubled) lastMain = now;
      if (now > spent && !doubled) return;
      spent = -Infinity;
      event.preventDefault();
      event.stopPropagation();
    },
    { capture: true },
  );
  for (const name of ["pointerup", "pointercancel", "pointerleave"]) {
    root.addEventListener(name, (event) => {
      if (!button) return;
      if (name === "pointerleave" && event.target !== root) return;
      hint("Hold it until the bar is full.");
      stop();
    });
  }
  root.addEventListener("contextmenu", (event) => {
    if (needsHold(event.target as Element)) event.preventDefault();
  });
  // The click that follows a touch does nothing; one without a touch (a key) counts twice.
  root.addEventListener(
    "click",
    (event) => {
      const clicked = needsHold(event.target as Element);
      if (!clicked) return;
      const byKey = (event as PointerEvent).pointerType === "" || event.detail === 0;
      if (!byKey) {
        event.preventDefault();
        return;
      }
      // Remembered by what it does: the page may be renewed between the two presses.
      const what = clicked.form ? [...new FormData(clicked.form)].filter(([name]) => name !== "once") : [];
      const gap = Date.now() - armed.at;
      if (armed.what === String(what) && gap < TWICE_MS && gap > 150) {
        armed = { what: "", at: 0 };
        return;
      }
      armed = { what: String(what), at: Date.now() };
      hint("Press once more.");
      event.preventDefault();
    },
    { capture: true },
  );
}

/** Keys and foot pedals: what they do is said in the settings of the page. */
export const KEYS: readonly [string, string][] = [
  ["Page Down, Enter or Space", "Start or Done of the one thing (twice where it wets paper)"],
  ["Page Up", "five minutes more"],
  ["R", "a reading"],
  ["N", "a note"],
  ["P", "a photo"],
  ["S", "silence"],
  ["U", "undo what was saved last"],
];

export function onKeys(root: HTMLElement, on: () => boolean): void {
  document.addEventListener("keydown", (event) => {
    if (!on() || event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
    const at = event.target as HTMLElement;
    if (at.closest("input, textarea, select, summary, a, button") && at !== document.body) return;
    const find = (selector: string): HTMLElement | null => root.querySelector<HTMLElement>(selector);
    const open = (id: string): void => {
      const part = find(`#${id}`);
      part?.setAttribute("open", "");
      part?.querySelector<HTMLElement>("input:not([type=hidden]), textarea")?.focus();
    };
    const act: Record<string, () => void> = {
      PageDown: () => find("#now [data-main]")?.click(),
      Enter: () => find("#now [data-main]")?.click(),
      " ": () => find("#now [data-main]")?.click(),
      PageUp: () => find("#now [data-more]")?.click(),
      r: () => open("q-reading"),
      n: () => open("q-note"),
      p: () => open("q-photo"),
      s: () => find("[data-silence]")?.click(),
      u: () => find("#tick button")?.click(),
    };
    const does = act[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!does) return;
    event.preventDefault();
    does();
  });
}
