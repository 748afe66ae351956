// Damage drawn on a page. The millimetres in the form are the truth; what is drawn follows them.
// A tap sets a point, dragging moves the picture; by keyboard a crosshair does what a tap does.
import { button, onPicture, openTiles, svgPart, type Opened, type Place } from "./deepzoom";
import { Handles, type Grip } from "./handles";
import { Loupe } from "./loupe";
import { inverse, planeOf, through, type Plane } from "./plane";

type Kind = "point" | "line" | "polygon";
const FEWEST: Record<Kind, number> = { point: 1, line: 2, polygon: 3 };
const NAMES: [Kind, string][] = [["point", "Point"], ["line", "Line"], ["polygon", "Area"]];
const MOST_GRIPS = 60;
// At least so much of the page is seen when a place is looked at from near [mm].
const NEAR_MM = 30;

class Damage extends HTMLElement {
  private opened: Opened | undefined;
  private loupe: Loupe | undefined;
  private handles: Handles | undefined;
  private toMm: Plane | undefined;
  private toPx: Plane | undefined;
  private shapes: Place[][] = [];
  private drawing = false;
  // Whether the last shape still takes points.
  private open = false;
  private cross: Place = { x: 0, y: 0 };
  private text: HTMLTextAreaElement | null = null;
  private picks: HTMLInputElement[] = [];
  private readonly drawn = svgPart("g", { "data-layer": "drawing" });
  private readonly status = document.createElement("p");
  private readonly kinds = new Map<Kind, HTMLButtonElement>();
  private draw: HTMLButtonElement | undefined;

  connectedCallback(): void {
    if (this.opened) return;
    const form = document.getElementById(this.dataset["form"] ?? "");
    this.toMm = planeOf(this.dataset["frame"] ?? "");
    const opened = openTiles(this);
    if (!opened) return;
    this.opened = opened;
    if (!this.toMm || !form) return;
    this.toPx = inverse(this.toMm);
    this.text = form.querySelector<HTMLTextAreaElement>("textarea[name=points]");
    this.picks = [...form.querySelectorAll<HTMLInputElement>("input[name=kind]")];
    opened.viewer.addOnceHandler("open", () => this.begin(opened));
  }

  private begin(opened: Opened): void {
    this.loupe = new Loupe(opened, this.dataset["info"] ?? "");
    this.handles = new Handles(opened, this.loupe, () => this.changed());
    opened.svg.append(this.drawn);
    this.cross = { x: this.wide / 2, y: this.tall / 2 };
    this.paintTools(opened);
    opened.viewer.addHandler("canvas-click", (event) => {
      if (!this.drawing || !event.quick) return;
      event.preventDefaultAction = true;
      this.add(this.mm(onPicture(opened.viewer, event.position)));
    });
    opened.viewer.addHandler("canvas-double-click", (event) => {
      if (this.drawing) event.preventDefaultAction = true;
    });
    this.text?.addEventListener("input", () => this.read());
    for (const pick of this.picks) pick.addEventListener("change", () => this.kindChosen());
    this.read();
    this.kindChosen();
    this.zoomTo(opened);
    this.dataset["state"] = "ready";
  }

  private paintTools(opened: Opened): void {
    const row = document.createElement("div");
    row.className = "tools";
    for (const [kind, name] of NAMES) {
      const choose = button(name, () => {
        for (const pick of this.picks) pick.checked = pick.value === kind;
        this.kindChosen();
        this.start(true);
      });
      choose.setAttribute("aria-label", `Draw as ${name.toLowerCase()}`);
      this.kinds.set(kind, choose);
      row.append(choose);
    }
    this.draw = button("Draw", () => this.start(!this.drawing));
    row.append(
      this.draw,
      button("Finish this part", () => this.finish()),
      button("Take the last point back", () => this.back()),
      button("Start over", () => {
        this.shapes = [];
        this.open = false;
        this.changed(true);
        this.tell("Nothing is drawn.");
      }),
    );
    opened.tools.after(row);
    this.status.setAttribute("role", "status");
    this.status.className = "soft";
    row.after(this.status);
    this.tell(
      "Choose point, line or area, then tap the picture; dragging moves it, two fingers zoom. By keyboard: Tab to the crosshair, arrow keys move it by 1 mm, with Shift by 10 mm, Enter sets a point, Backspace takes it back, Escape ends the part.",
    );
  }

  // What the form begins with is shown from near.
  private zoomTo(opened: Opened): void {
    const item = opened.viewer.world.getItemAt(0);
    const points = this.shapes.flat().map((one) => this.px(one));
    if (!item || !points.length) return;
    const xs = points.map((one) => one.x);
    const ys = points.map((one) => one.y);
    const wide = Math.max(...xs) - Math.min(...xs);
    const side = Math.max(wide, Math.max(...ys) - Math.min(...ys), NEAR_MM * this.pxPerMm) * 1.4;
    const [x, y] = [(Math.min(...xs) + Math.max(...xs)) / 2, (Math.min(...ys) + Math.max(...ys)) / 2];
    opened.viewer.viewport.fitBounds(
      item.imageToViewportRectangle(x - side / 2, y - side / 2, side, side),
    );
  }

  private start(on: boolean): void {
    this.drawing = on;
    this.toggleAttribute("data-drawing", on);
    this.pressed();
    this.changed(true);
    this.tell(
      on
        ? "Tap to set points, or Tab to the crosshair and press Enter. Press Draw again when done, to drag points."
        : "The points stand in the form. A ring moves its point.",
    );
  }

  private kindChosen(): void {
    const single = this.shapes.length > 1 && this.shapes.every((one) => one.length === 1);
    if (this.kind === "point") this.shapes = this.shapes.flat().map((one) => [one]);
    else if (single) this.shapes = [this.shapes.flat()];
    this.pressed();
    this.changed();
  }

  private pressed(): void {
    this.draw?.setAttribute("aria-pressed", String(this.drawing));
    for (const [kind, one] of this.kinds) {
      one.setAttribute("aria-pressed", String(kind === this.kind));
    }
  }

  private add(at: Place): void {
    const spot = { x: tenth(at.x), y: tenth(at.y) };
    if (!this.inside(spot)) {
      this.tell(`${where(spot)} lies off the page; tap on the paper.`);
      return;
    }
    this.cross = { ...spot };
    const last = this.shapes[this.shapes.length - 1];
    if (this.kind === "point" || !this.open || !last) {
      this.shapes.push([spot]);
      this.open = this.kind !== "point";
    } else {
      last.push(spot);
    }
    this.changed(true);
    const count = this.shapes[this.shapes.length - 1]!.length;
    this.tell(`Point ${count} at ${where(spot)}. ${this.size()}`);
  }

  private back(): void {
    const last = this.shapes[this.shapes.length - 1];
    if (!last) {
      this.tell("There is no point to take back.");
      return;
    }
    last.pop();
    if (!last.length) this.shapes.pop();
    this.open = this.kind !== "point" && last.length > 0;
    this.changed(true);
    this.tell(`The last point is taken back. ${this.size()}`);
  }

  private finish(): void {
    const last = this.shapes[this.shapes.length - 1];
    const least = FEWEST[this.kind];
    if (last && last.length < least) {
      const short = least - last.length;
      this.tell(`This part needs ${short} more ${short === 1 ? "point" : "points"}.`);
      return;
    }
    this.open = false;
    this.tell(last ? `The part is finished. ${this.size()} The next point begins another.` : "Nothing is drawn yet.");
  }

  private read(): void {
    this.shapes = parse(this.text?.value ?? "");
    if (this.kind === "point") this.shapes = this.shapes.flat().map((one) => [one]);
    this.open = false;
    this.paint(true);
  }

  private changed(anew = false): void {
    const now = this.shapes.map(pointsText).join("; ");
    const typed = parse(this.text?.value ?? "").map(pointsText).join("; ");
    if (this.text && now !== typed) this.text.value = now;
    this.paint(anew);
  }

  private paint(anew: boolean): void {
    if (!this.opened) return;
    if (anew) this.handles?.set(this.grips());
    const name = this.kind === "polygon" ? "polygon" : "polyline";
    this.drawn.replaceChildren(
      ...this.shapes.flatMap((shape) =>
        ["layer-damage-drawing under", "layer-damage-drawing"].map((kind) => {
          const points = shape.map((one) => this.px(one)).map((at) => `${at.x},${at.y}`);
          return svgPart(name, { class: kind, points: points.join(" ") });
        }),
      ),
    );
    this.handles?.follow();
    for (const knob of this.opened.canvas.querySelectorAll(".handle")) {
      const says = knob.getAttribute("aria-label") ?? "";
      knob.classList.toggle("cross", says.startsWith("Crosshair"));
    }
  }

  private grips(): Grip[] {
    const points = this.shapes.flat();
    const rings = points.length > MOST_GRIPS ? [] : points.map((one, at) => this.grip(one, at));
    return this.drawing ? [...rings, this.crosshair()] : rings;
  }

  private grip(point: Place, at: number): Grip {
    const page = this;
    return {
      name: `Point ${at + 1}`,
      moved: false,
      small: true,
      step: this.pxPerMm,
      get place() {
        return page.px(point);
      },
      move(to: Place) {
        const mm = page.held(page.mm(to));
        point.x = mm.x;
        point.y = mm.y;
      },
      clear() {
        // a point has no place it was found at
      },
      says: () => `Point ${at + 1} at ${where(point)}`,
    };
  }

  private crosshair(): Grip {
    const page = this;
    return {
      name: "Crosshair",
      moved: false,
      step: this.pxPerMm,
      get place() {
        return page.px(page.cross);
      },
      move(to: Place) {
        page.cross = page.held(page.mm(to));
      },
      clear() {
        page.finish();
      },
      says: () => `Crosshair at ${where(page.cross)}. Enter sets a point here`,
      pressed(key: string) {
        if (key === "Enter") page.add(page.cross);
        else if (key === "Backspace") page.back();
        else return false;
        page.focusCross();
        return true;
      },
    };
  }

  private focusCross(): void {
    this.opened?.canvas.querySelector<HTMLElement>(".handle.cross")?.focus({ preventScroll: true });
  }

  private get kind(): Kind {
    return (this.picks.find((pick) => pick.checked)?.value ?? "line") as Kind;
  }

  private get wide(): number {
    return Number(this.dataset["wide"] ?? 200);
  }

  private get tall(): number {
    return Number(this.dataset["tall"] ?? 280);
  }

  private get pxPerMm(): number {
    const middle = { x: this.wide / 2, y: this.tall / 2 };
    const one = this.px(middle);
    const next = this.px({ x: middle.x + 1, y: middle.y });
    return Math.hypot(next.x - one.x, next.y - one.y);
  }

  private mm(at: Place): Place {
    return through(this.toMm!, at);
  }

  private px(at: Place): Place {
    return through(this.toPx!, at);
  }

  private inside(at: Place): boolean {
    return at.x >= -5 && at.y >= -5 && at.x <= this.wide + 5 && at.y <= this.tall + 5;
  }

  private held(at: Place): Place {
    return {
      x: tenth(Math.min(Math.max(at.x, -5), this.wide + 5)),
      y: tenth(Math.min(Math.max(at.y, -5), this.tall + 5)),
    };
  }

  private size(): string {
    if (this.kind === "point") return counted(this.shapes.length, "point");
    if (this.kind === "line") return `${length(this.shapes).toFixed(1)} mm long.`;
    return `${this.shapes.reduce((sum, one) => sum + area(one), 0).toFixed(0)} square millimetres.`;
  }

  private tell(words: string): void {
    this.status.textContent = words;
  }

  disconnectedCallback(): void {
    this.loupe?.destroy();
    this.opened?.viewer.destroy();
    this.opened = undefined;
  }
}

function tenth(value: number): number {
  return Math.round(value * 10) / 10 || 0;
}

function where(at: Place): string {
  return `${tenth(at.x)} mm from the left, ${tenth(at.y)} mm down`;
}

function counted(count: number, noun: string): string {
  return `${count} ${noun}${count === 1 ? "" : "s"}.`;
}

function pointsText(points: Place[]): string {
  return points.map((one) => `${one.x},${one.y}`).join(" ");
}

function parse(text: string): Place[][] {
  const place = (word: string): Place[] => {
    const [x, y, more] = word.split(",").map(Number);
    const fine = x !== undefined && y !== undefined && more === undefined;
    return fine && Number.isFinite(x) && Number.isFinite(y) ? [{ x, y }] : [];
  };
  return text
    .split(";")
    .map((part) => part.split(/\s+/).filter(Boolean).flatMap(place))
    .filter((part) => part.length > 0);
}

function length(shapes: Place[][]): number {
  let sum = 0;
  for (const shape of shapes) {
    for (let at = 1; at < shape.length; at += 1) {
      const [one, other] = [shape[at - 1]!, shape[at]!];
      sum += Math.hypot(other.x - one.x, other.y - one.y);
    }
  }
  return sum;
}

function area(shape: Place[]): number {
  let twice = 0;
  for (const [at, one] of shape.entries()) {
    const other = shape[(at + 1) % shape.length]!;
    twice += one.x * other.y - other.x * one.y;
  }
  return Math.abs(twice) / 2;
}

customElements.define("qw-damage", Damage);
