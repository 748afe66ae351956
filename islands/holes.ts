// Staple holes set right by dragging. The millimetres in the form are the truth; a ring in the
// picture follows them, and dragging a ring writes them.
import { Handles, type Grip } from "./handles";
import { openTiles, type Opened, type Place } from "./deepzoom";
import { Loupe } from "./loupe";

/** Nine numbers in rows: pixels to millimetres of the sheet, over g x + h y + i. */
type Frame = [number, number, number, number, number, number, number, number, number];

function through(m: Frame, at: Place): Place {
  const [a, b, c, d, e, f, g, h, i] = m;
  const over = g * at.x + h * at.y + i;
  return { x: (a * at.x + b * at.y + c) / over, y: (d * at.x + e * at.y + f) / over };
}

function inverse(m: Frame): Frame {
  const [a, b, c, d, e, f, g, h, i] = m;
  return [
    e * i - f * h, c * h - b * i, b * f - c * e,
    f * g - d * i, a * i - c * g, c * d - a * f,
    d * h - e * g, b * g - a * h, a * e - b * d,
  ];
}

/** Six numbers of a scan, or eight of a photograph; undefined where they are neither. */
function frameOf(text: string): Frame | undefined {
  const words = text.trim().split(/\s+/).map(Number);
  if (words.some((one) => !isFinite(one))) return undefined;
  if (words.length === 6) words.push(0, 0);
  return words.length === 8 ? ([...words, 1] as Frame) : undefined;
}

class HoleGrip implements Grip {
  readonly name: string;
  private readonly begun: [string, string];

  constructor(
    readonly x: HTMLInputElement,
    readonly y: HTMLInputElement,
    private readonly frame: Frame,
    private readonly start: Place,
  ) {
    this.name = `Hole ${x.dataset["hole"] ?? ""}`;
    this.begun = [x.value, y.value];
    this.place = this.read();
  }

  place: Place;

  get moved(): boolean {
    return this.x.value !== this.begun[0] || this.y.value !== this.begun[1];
  }

  read(): Place {
    const x = Number(this.x.value.replace(",", "."));
    const y = Number(this.y.value.replace(",", "."));
    if (!this.x.value.trim() || !this.y.value.trim() || !isFinite(x) || !isFinite(y)) {
      return { ...this.start };
    }
    return through(inverse(this.frame), { x, y });
  }

  move(to: Place): void {
    this.place = to;
    const at = through(this.frame, to);
    this.x.value = at.x.toFixed(3);
    this.y.value = at.y.toFixed(3);
  }

  clear(): void {
    [this.x.value, this.y.value] = this.begun;
    this.place = this.read();
  }
}

class HolesView extends HTMLElement {
  private opened: Opened | undefined;

  connectedCallback(): void {
    if (this.opened) return;
    const form = this.closest("form");
    const frame = frameOf(this.dataset["frame"] ?? "");
    if (!form || !frame) return;
    const opened = openTiles(this);
    if (!opened) return;
    this.opened = opened;
    opened.viewer.addHandler("open", () => this.begin(opened, form, frame));
  }

  private begin(opened: Opened, form: HTMLFormElement, frame: Frame): void {
    const loupe = new Loupe(opened, this.dataset["info"] ?? "");
    const handles = new Handles(opened, loupe, () => undefined);
    const grips = [...form.querySelectorAll<HTMLInputElement>("input[data-hole]")].flatMap((x) => {
      const y = form.querySelector<HTMLInputElement>(`[name="y.${x.dataset["hole"] ?? ""}"]`);
      const start = { x: Number(x.dataset["px"]), y: Number(x.dataset["py"]) };
      return y ? [new HoleGrip(x, y, frame, start)] : [];
    });
    for (const grip of grips) {
      for (const input of [grip.x, grip.y]) {
        input.addEventListener("input", () => {
          grip.place = grip.read();
          handles.follow();
        });
      }
    }
    handles.set(grips);
    const status = document.createElement("p");
    status.setAttribute("role", "status");
    status.className = "soft";
    status.textContent =
      "Drag a ring onto its hole. By keyboard: Tab to a ring, arrow keys move it by a pixel, with Shift by ten, Escape puts it back.";
    opened.tools.after(status);
    this.dataset["state"] = "ready";
  }
}

customElements.define("qw-holes", HolesView);
