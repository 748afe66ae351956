// A button that wets paper, or ends its bath, is held until its bar is full: a drop of water that
// lands on the screen, or a sleeve, does not press it. With keys and a pedal it is pressed twice.

const HOLD_MS = 700;
const TWICE_MS = 2500;

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
  const stop = (): void => {
    window.clearTimeout(timer);
    if (button) delete button.dataset["filling"];
    button = null;
  };
  root.addEventListener("pointerdown", (event) => {
    const pressed = needsHold(event.target as Element);
    if (!pressed || event.button !== 0) return;
    stop();
    button = pressed;
    button.dataset["filling"] = "yes";
    timer = window.setTimeout(() => {
      const form = pressed.form;
      stop();
      if (form) form.requestSubmit(pressed);
    }, HOLD_MS);
  });
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
