// A stack built by touch: the layers of a text box as a list, added, moved and taken out.
// The text box stays what is sent, and can be typed in as before.

interface Held {
  box: HTMLTextAreaElement;
  list: HTMLOListElement;
}

const lines = (box: HTMLTextAreaElement): string[] =>
  box.value.split("\n").map((line) => line.trim()).filter(Boolean);

function set(held: Held, layers: string[]): void {
  held.box.value = layers.join("\n");
  held.box.dispatchEvent(new Event("input", { bubbles: true }));
  draw(held);
}

function button(words: string, label: string, act: () => void): HTMLButtonElement {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "quiet";
  made.textContent = words;
  made.setAttribute("aria-label", label);
  made.addEventListener("click", act);
  return made;
}

function draw(held: Held): void {
  const layers = lines(held.box);
  held.list.replaceChildren(
    ...layers.map((layer, at) => {
      const row = document.createElement("li");
      const name = document.createElement("span");
      name.textContent = layer;
      const swapped = (other: number): string[] => {
        const next = [...layers];
        [next[at], next[other]] = [next[other]!, next[at]!];
        return next;
      };
      const up = button("↑", `${layer}: up`, () => set(held, swapped(at - 1)));
      const down = button("↓", `${layer}: down`, () => set(held, swapped(at + 1)));
      up.disabled = at === 0;
      down.disabled = at === layers.length - 1;
      const out = button("Take out", `${layer}: take out`, () =>
        set(held, layers.filter((_, n) => n !== at)),
      );
      row.append(name, up, down, out);
      return row;
    }),
  );
}

for (const box of document.querySelectorAll<HTMLTextAreaElement>("textarea[data-layers]")) {
  const names = (box.dataset["layers"] ?? "").split("|").filter(Boolean);
  const list = document.createElement("ol");
  list.className = "layers";
  const held = { box, list };
  const choose = document.createElement("select");
  choose.setAttribute("aria-label", `Add a layer: ${box.labels?.[0]?.firstChild?.textContent ?? ""}`);
  choose.append(...["Add a layer at the foot …", ...names].map((name) => new Option(name)));
  choose.addEventListener("change", () => {
    if (choose.selectedIndex > 0) set(held, [...lines(box), choose.value]);
    choose.selectedIndex = 0;
  });
  box.before(list, choose);
  box.addEventListener("change", () => draw(held));
  draw(held);
}

export {};
