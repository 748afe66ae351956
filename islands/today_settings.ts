// What is chosen on this device: look, sound, keys, its name; and lines that say how things stand.
import { KEYS } from "./press";

export interface Choices {
  keys: boolean;
  sound: boolean;
  device: () => string;
  lines: (told: { lasting?: boolean; offMs?: number; awake?: string; sound?: boolean }) => void;
}

const LOOKS = [["", "As the device"], ["light", "Light"], ["dark", "Dark"], ["glare", "Glare"]] as const;

function kept(name: string): string {
  try {
    return localStorage.getItem(`quirewell-${name}`) ?? "";
  } catch {
    return "";
  }
}

function keep(name: string, value: string): void {
  try {
    localStorage.setItem(`quirewell-${name}`, value);
  } catch {
    // chosen for this page only
  }
}

function look(name: string): void {
  if (name) document.documentElement.dataset["look"] = name;
  else delete document.documentElement.dataset["look"];
}

look(kept("look"));

function button(words: string, pressed: boolean, act: (button: HTMLButtonElement) => void): HTMLButtonElement {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = words;
  made.setAttribute("aria-pressed", String(pressed));
  made.addEventListener("click", () => act(made));
  return made;
}

export function settings(box: HTMLElement | null): Choices {
  const choices: Choices = {
    keys: kept("keys") === "on",
    sound: kept("sound") !== "off",
    device: () => kept("device"),
    lines: () => undefined,
  };
  if (!box) return choices;
  const looks = document.createElement("div");
  looks.className = "looks";
  for (const [key, words] of LOOKS) {
    looks.append(
      button(words, kept("look") === key, (pressed) => {
        keep("look", key);
        look(key);
        for (const other of looks.children) other.setAttribute("aria-pressed", String(other === pressed));
      }),
    );
  }
  const row = document.createElement("div");
  row.className = "looks";
  row.append(
    button("Sound", choices.sound, (pressed) => {
      choices.sound = !choices.sound;
      keep("sound", choices.sound ? "on" : "off");
      pressed.setAttribute("aria-pressed", String(choices.sound));
    }),
    button("Keys and foot pedal", choices.keys, (pressed) => {
      choices.keys = !choices.keys;
      keep("keys", choices.keys ? "on" : "off");
      pressed.setAttribute("aria-pressed", String(choices.keys));
    }),
  );
  const keys = document.createElement("ul");
  keys.className = "state-lines";
  for (const [key, does] of KEYS) {
    const line = document.createElement("li");
    const name = document.createElement("kbd");
    name.textContent = key;
    line.append(name, ` ${does}`);
    keys.append(line);
  }
  const label = document.createElement("label");
  label.textContent = "Name of this device (kept with its entries)";
  const name = document.createElement("input");
  name.value = kept("device");
  name.maxLength = 60;
  name.addEventListener("input", (event) => {
    event.stopPropagation();
    keep("device", name.value.trim());
  });
  label.append(name);
  const lines = document.createElement("ul");
  lines.className = "state-lines";
  const told: Record<string, string> = {
    timer: "Set a kitchen timer beside each bath too: a device that sleeps makes no sound.",
  };
  const show = (): void => {
    const made = Object.values(told).map((says) => {
      const line = document.createElement("li");
      line.textContent = says;
      return line;
    });
    lines.replaceChildren(...made);
  };
  choices.lines = (now) => {
    if (now.lasting !== undefined) {
      told["store"] = now.lasting
        ? "What is not yet saved is kept in this browser, over a reload and a sleep."
        : "This browser keeps nothing over a reload: wait for the tick before you close the page.";
    }
    if (now.offMs !== undefined) {
      const off = Math.round(now.offMs / 1000);
      told["clock"] = Math.abs(off) < 3
        ? "This device's clock agrees with the studio's."
        : `This device's clock is ${Math.abs(off)} s ${off > 0 ? "behind" : "ahead of"} the studio's; times are set right by that.`;
    }
    if (now.awake) told["awake"] = now.awake;
    if (now.sound !== undefined) {
      told["sound"] = now.sound
        ? "Sound is ready."
        : "No sound before the first touch: browsers allow none.";
    }
    told["worker"] = !window.isSecureContext
      ? "This address is not encrypted, so the page opens only while the studio answers; once open it goes on working without."
      : navigator.serviceWorker?.controller
        ? "This page opens on this device even while the studio is away."
        : "From the next time it is opened, this page opens even while the studio is away.";
    show();
  };
  show();
  box.replaceChildren(looks, row, keys, label, lines);
  return choices;
}
