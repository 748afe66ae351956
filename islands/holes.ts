// Staple holes set right by dragging or by buttons. The millimetres in the form are the truth; a
// ring in the picture follows them, and moving a ring writes them.
import { Handles, type Grip } from "./handles";
import OpenSeadragon from "openseadragon";
import { button, calm, openTiles, type Opened, type Place } from "./deepzoom";
import { Loupe } from "./loupe";
import { inverse, planeOf, through, type Plane } from "./plane";

// What is seen of the paper across when a hole is looked at, and round all holes at first [mm].
const NEAR_MM = 20;
const ROUND_MM = 12;
const STEP_MM = 0.05;
const WAYS: [string, string, number, number][] = [
  ["\u2190", "left", -1, 0],
  ["\u2192", "right", 1, 0],
  ["\u2191", "up", 0, -1],
  ["\u2193", "down", 0, 1],
];

type Field = HTMLInputElement | HTMLSelectElement;

class HoleGrip implements Grip {
  readonly name: string;
  private readonly begun: string[];

  constructor(
    readonly x: HTMLInputElement,
    readonly y: HTMLInputElement,
    readonly u: HTMLInputElement,
    readonly state: HTMLSelectElement,
    private readonly frame: Plane,
    private readonly start: Place,
    private readonly taken: (grip: HoleGrip) => void,
  ) {
    this.name = `Hole ${x.dataset["hole"] ?? ""}`;
    this.begun = this.fields().map((one) => one.value);
    this.place = this.read();
  }

  place: Place;

  fields(): Field[] {
    return [this.x, this.y, this.u, this.state];
  }

  get moved(): boolean {
    return this.x.value !== this.begun[0] || this.y.value !== this.begun[1];
  }

  get missing(): boolean {
    return this.state.value === "missing";
  }

  get known(): boolean {
    return this.x.value.trim() !== "" && this.y.value.trim() !== "";
  }

  read(): Place {
    const x = Number(this.x.value.replace(",", ".").replace("\u2212", "-"));
    const y = Number(this.y.value.replace(",", "."));
    if (!this.known || !isFinite(x) || !isFinite(y)) return { ...this.start };
    return through(inverse(this.frame), { x, y });
  }

  // A place set by hand is not as sure as one that was found: what that was sure to is taken out.
  move(to: Place): void {
    if (!this.moved) this.u.value = "";
    this.place = to;
    const at = through(this.frame, to);
    this.x.value = at.x.toFixed(2).replace("-0.00", "0.00");
    this.y.value = at.y.toFixed(2);
    this.taken(this);
  }

  clear(): void {
    for (const [at, one] of this.fields().entries()) one.value = this.begun[at] ?? "";
    this.place = this.read();
    this.taken(this);
  }

  says(): string {
    if (this.missing) return `${this.name} is said to be missing: nothing to set.`;
    if (!this.known) return `${this.name} is not set: bring its ring onto the hole.`;
    const side = this.x.value.trim().match(/^[-\u2212]/) ? "left" : "right";
    const x = this.x.value.trim().replace(/^[-\u2212]/, "");
    return `${this.name}: ${x} mm ${side} of the fold, ${this.y.value.trim()} mm from the head edge.`;
  }
}

class HolesView extends HTMLElement {
  private opened: Opened | undefined;

  connectedCallback(): void {
    if (this.opened) return;
    const form = this.closest("form");
    const frame = planeOf(this.dataset["frame"] ?? "");
    if (!form || !frame) return;
    const opened = openTiles(this);
    if (!opened) return;
    this.opened = opened;
    opened.viewer.addHandler("open", () => this.begin(opened, form, frame));
  }

  private begin(opened: Opened, form: HTMLFormElement, frame: Plane): void {
    const loupe = new Loupe(opened, this.dataset["info"] ?? "");
    const row = document.createElement("div");
    row.className = "tools";
    const status = document.createElement("p");
    status.setAttribute("role", "status");
    status.className = "where-hole";
    const picks = new Map<HoleGrip, HTMLButtonElement>();
    let chosen: HoleGrip | undefined;
    const tell = (grip: HoleGrip): void => {
      chosen = grip;
      for (const [one, pick] of picks) {
        pick.setAttribute("aria-pressed", String(one === chosen));
        const state = one.missing ? ", missing" : one.known ? "" : ", not set";
        pick.textContent = one.name + state;
      }
      status.textContent = grip.says();
    };
    const handles = new Handles(opened, loupe, () => undefined);
    const grips = [...form.querySelectorAll<HTMLInputElement>("input[data-hole]")].flatMap((x) => {
      const of = <T extends Field>(name: string): T | null =>
        form.querySelector<T>(`[name="${name}.${x.dataset["hole"] ?? ""}"]`);
      const y = of<HTMLInputElement>("y");
      const u = of<HTMLInputElement>("u");
      const state = of<HTMLSelectElement>("state");
      const start = { x: Number(x.dataset["px"]), y: Number(x.dataset["py"]) };
      return y && u && state ? [new HoleGrip(x, y, u, state, frame, start, tell)] : [];
    });
    // A hole that is missing has no ring.
    const ring = (): void => handles.set(grips.filter((grip) => !grip.missing));
    for (const grip of grips) {
      for (const input of [grip.x, grip.y]) {
        input.addEventListener("input", () => {
          grip.place = grip.read();
          handles.follow();
          tell(grip);
        });
      }
      grip.state.addEventListener("change", () => {
        ring();
        tell(grip);
      });
      picks.set(grip, button(grip.name, () => {
        tell(grip);
        this.scrollIntoView({ block: "start", behavior: calm() ? "auto" : "smooth" });
        look(opened, [grip.place], NEAR_MM / 2 / mmPerPixel(frame, grip.place));
      }));
    }
    ring();
    const nudge = WAYS.map(([sign, way, dx, dy]) => {
      const made = button(sign, () => {
        if (!chosen || chosen.missing) return;
        const step = STEP_MM / mmPerPixel(frame, chosen.place);
        chosen.move({ x: chosen.place.x + dx * step, y: chosen.place.y + dy * step });
        handles.follow();
      });
      made.setAttribute("aria-label", `Move the chosen hole's ring ${way} by ${STEP_MM} mm`);
      return made;
    });
    const group = document.createElement("span");
    group.className = "tools nudge";
    group.append(`Ring, by ${STEP_MM} mm:`, ...nudge);
    row.append(...picks.values(), group);
    const help = document.createElement("p");
    help.className = "soft";
    help.textContent =
      "Choose a hole to see it large; then drag its ring onto it, or move it by the arrows. By keyboard: Tab to a ring, arrow keys move it by a pixel, with Shift by ten, Escape puts it back.";
    opened.canvas.before(row, status);
    opened.tools.after(help);
    const first = grips[0];
    if (first) {
      tell(first);
      const round = ROUND_MM / mmPerPixel(frame, first.place);
      look(opened, grips.map((grip) => grip.place), round, true);
    }
    this.dataset["state"] = "ready";
  }
}

function mmPerPixel(frame: Plane, at: Place): number {
  const here = through(frame, at);
  const beside = through(frame, { x: at.x + 1, y: at.y });
  return Math.hypot(beside.x - here.x, beside.y - here.y);
}

/** Shows places with so many pixels of the picture round them. */
function look(opened: Opened, places: Place[], round: number, atOnce = calm()): void {
  const xs = places.map((one) => one.x);
  const ys = places.map((one) => one.y);
  const [left, top] = [Math.min(...xs) - round, Math.min(...ys) - round];
  const seen = new OpenSeadragon.Rect(
    left, top, Math.max(...xs) + round - left, Math.max(...ys) + round - top,
  );
  const item = opened.viewer.world.getItemAt(0);
  opened.viewer.viewport.fitBounds(item.imageToViewportRectangle(seen), atOnce);
}

customElements.define("qw-holes", HolesView);
