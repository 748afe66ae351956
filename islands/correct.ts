// Correcting by hand: corners dragged, parts left out, tears looked at. The numbers of the form
// are the truth; what is drawn follows them, and dragging writes them.
import { Handles, type Grip } from "./handles";
import { button, onPicture, openTiles, svgPart, type Opened, type Place } from "./deepzoom";
import { Loupe } from "./loupe";

const LEAST_PX = 8;
const VERTICES_SHOWN = 8;

class Corner implements Grip {
  readonly name: string;
  readonly found: Place;
  place: Place;

  constructor(readonly input: HTMLInputElement) {
    this.name = `${input.dataset["name"] ?? ""} corner`;
    this.found = parsePoint(input.dataset["found"] ?? "") ?? { x: 0, y: 0 };
    this.place = { x: Number(input.dataset["x"]), y: Number(input.dataset["y"]) };
  }

  get moved(): boolean {
    return this.input.value.trim() !== "";
  }

  read(): void {
    this.place = parsePoint(this.input.value) ?? { ...this.found };
  }

  move(to: Place): void {
    this.place = to;
    this.input.value = `${tenth(to.x)}, ${tenth(to.y)}`;
  }

  clear(): void {
    this.input.value = "";
    this.read();
  }
}

class Correct extends HTMLElement {
  private opened: Opened | undefined;
  private loupe: Loupe | undefined;
  private handles: Handles | undefined;
  private corners: Corner[] = [];
  private parts: Place[][] = [];
  private text: HTMLTextAreaElement | null = null;
  private quad: SVGElement[] = [];
  private shapes = svgPart("g", {});
  private list = document.createElement("ul");
  private status = document.createElement("p");
  private lasso: HTMLElement | undefined;

  connectedCallback(): void {
    if (this.opened) return;
    const form = this.closest("form");
    if (!form) return;
    this.corners = [...form.querySelectorAll<HTMLInputElement>("input[data-found]")].map(
      (input) => new Corner(input),
    );
    this.text = form.querySelector<HTMLTextAreaElement>("[data-parts]");
    const opened = openTiles(this);
    if (!opened) return;
    this.opened = opened;
    opened.viewer.addHandler("open", () => this.begin(opened, form));
  }

  private begin(opened: Opened, form: HTMLFormElement): void {
    this.loupe = new Loupe(opened, this.dataset["info"] ?? "");
    this.handles = new Handles(opened, this.loupe, () => this.draw());
    this.quad = ["layer-hand under", "layer-hand"].map((kind) =>
      svgPart("polygon", { class: kind }),
    );
    opened.svg.append(...this.quad, this.shapes);
    this.paintTools(opened);
    this.list.className = "parts";
    this.text?.after(this.list);
    for (const corner of this.corners) {
      corner.input.addEventListener("input", () => {
        corner.read();
        this.draw();
      });
    }
    // While it is typed, not when the field is left: a list that grows under a click takes the
    // button away from it.
    this.text?.addEventListener("input", () => {
      this.parts = parseParts(this.text?.value ?? "");
      this.draw(true);
    });
    this.parts = parseParts(this.text?.value ?? "");
    this.tears(opened, form);
    this.draw(true);
    this.dataset["state"] = "ready";
  }

  private paintTools(opened: Opened): void {
    const paint = button("Leave out: draw round it", () => this.painting(opened, paint));
    paint.setAttribute("aria-pressed", "false");
    opened.tools.append(paint, button("Leave out a box", () => this.addBox(opened)));
    this.status.setAttribute("role", "status");
    this.status.className = "soft";
    this.status.textContent =
      "Drag a corner by its ring. By keyboard: Tab to a ring, arrow keys move it by a pixel, with Shift by ten, Escape puts it back.";
    opened.tools.after(this.status);
  }

  private draw(anew = false): void {
    if (anew) {
      this.handles?.set([...this.corners, ...this.vertices()]);
      this.listParts();
    }
    const round = this.corners.map((corner) => `${corner.place.x},${corner.place.y}`).join(" ");
    for (const line of this.quad) line.setAttribute("points", round);
    this.shapes.replaceChildren(
      ...this.parts.flatMap((part) =>
        ["layer-ignore under", "layer-ignore"].map((kind) =>
          svgPart("polygon", { class: kind, points: pointsText(part) }),
        ),
      ),
    );
    this.write();
    this.handles?.follow();
  }

  // What was typed stays as it is typed, even what cannot be read: only a part drawn, moved or
  // taken back writes the field anew.
  private write(): void {
    const now = this.parts.map(pointsText).join("; ");
    const typed = parseParts(this.text?.value ?? "").map(pointsText).join("; ");
    if (this.text && now !== typed) this.text.value = now;
  }

  private vertices(): Grip[] {
    return this.parts
      .filter((part) => part.length <= VERTICES_SHOWN)
      .flatMap((part) =>
        part.map((place, at) => ({
          name: `Part ${this.parts.indexOf(part) + 1}, point ${at + 1}`,
          place,
          moved: false,
          small: true,
          move(to: Place) {
            place.x = to.x;
            place.y = to.y;
          },
          clear() {
            // a point of a part has no place it was found at
          },
        })),
      );
  }

  private listParts(): void {
    this.list.replaceChildren(
      ...this.parts.map((part, at) => {
        const line = document.createElement("li");
        const words = document.createElement("span");
        words.textContent = `Part ${at + 1}, ${part.length} ${part.length === 1 ? "point" : "points"}`;
        const remove = button("Take back", () => {
          this.parts.splice(at, 1);
          this.draw(true);
          this.tell(`Part ${at + 1} is measured again.`);
        });
        remove.setAttribute("aria-label", `Take back part ${at + 1}`);
        line.append(words, remove);
        return line;
      }),
    );
  }

  private addBox(opened: Opened): void {
    const { clientWidth: wide, clientHeight: high } = opened.canvas;
    const reach = Math.min(wide, high) / 8;
    const spot = (x: number, y: number): Place =>
      this.within(onPicture(opened.viewer, { x: wide / 2 + x * reach, y: high / 2 + y * reach }));
    this.parts.push([spot(-1, -1), spot(1, -1), spot(1, 1), spot(-1, 1)]);
    this.draw(true);
    this.handles?.focusLast();
    this.tell("A box to leave out stands in the middle; drag its points over the thing.");
  }

  private painting(opened: Opened, toggle: HTMLButtonElement): void {
    if (this.lasso) {
      this.lasso.remove();
      this.lasso = undefined;
      toggle.setAttribute("aria-pressed", "false");
      this.tell("The picture moves again under your finger.");
      return;
    }
    const sheet = document.createElement("div");
    sheet.className = "lasso";
    this.lasso = sheet;
    toggle.setAttribute("aria-pressed", "true");
    opened.canvas.append(sheet);
    this.tell("Draw round what is to be left out, with finger, pen or mouse. Press the button again when done.");
    let path: Place[] = [];
    const spot = (event: PointerEvent): Place => {
      const box = opened.canvas.getBoundingClientRect();
      const at = { x: event.clientX - box.left, y: event.clientY - box.top };
      return this.within(onPicture(opened.viewer, at));
    };
    const line = svgPart("polyline", { class: "layer-ignore" });
    sheet.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      sheet.setPointerCapture(event.pointerId);
      path = [spot(event)];
      opened.svg.append(line);
    });
    sheet.addEventListener("pointermove", (event) => {
      if (!sheet.hasPointerCapture(event.pointerId)) return;
      path.push(spot(event));
      line.setAttribute("points", pointsText(path));
    });
    const finish = (): void => {
      line.remove();
      const part = thinned(path);
      path = [];
      if (part.length < 3) {
        this.tell("That was too small; draw all the way round the thing.");
        return;
      }
      this.parts.push(part);
      this.draw(true);
      this.tell(`Part ${this.parts.length} is left out.`);
    };
    sheet.addEventListener("pointerup", finish);
    sheet.addEventListener("pointercancel", finish);
  }

  private within(place: Place): Place {
    const wide = Number(this.dataset["width"]);
    const high = Number(this.dataset["height"]);
    return {
      x: tenth(Math.min(Math.max(place.x, 0), wide)),
      y: tenth(Math.min(Math.max(place.y, 0), high)),
    };
  }

  private tears(opened: Opened, form: HTMLFormElement): void {
    const lines = [...opened.svg.querySelectorAll<SVGElement>("polyline.layer-tears:not(.under)")];
    for (const [at, field] of [...form.querySelectorAll<HTMLElement>("[data-tear]")].entries()) {
      const points = parseParts(field.dataset["tear"] ?? "")[0] ?? [];
      const pick = (on: boolean) => () => lines[at]?.classList.toggle("picked", on);
      field.addEventListener("focusin", pick(true));
      field.addEventListener("focusout", pick(false));
      const show = button("Show it", () => this.zoomTo(opened, points));
      show.setAttribute("aria-label", `Show tear ${field.dataset["number"]} in the picture`);
      field.append(show);
    }
  }

  private zoomTo(opened: Opened, points: Place[]): void {
    const item = opened.viewer.world.getItemAt(0);
    if (!item || !points.length) return;
    const xs = points.map((one) => one.x);
    const ys = points.map((one) => one.y);
    const side = Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys), 60);
    const box = item.imageToViewportRectangle(
      (Math.min(...xs) + Math.max(...xs)) / 2 - side,
      (Math.min(...ys) + Math.max(...ys)) / 2 - side,
      2 * side,
      2 * side,
    );
    opened.viewer.viewport.fitBounds(box);
    opened.canvas.scrollIntoView({ block: "nearest" });
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
  return Math.round(value * 10) / 10;
}

function pointsText(points: Place[]): string {
  return points.map((one) => `${tenth(one.x)},${tenth(one.y)}`).join(" ");
}

function parsePoint(text: string): Place | undefined {
  const [x, y, more] = text.split(/[\s,;]+/).filter(Boolean).map(Number);
  if (x === undefined || y === undefined || more !== undefined) return undefined;
  return Number.isFinite(x) && Number.isFinite(y) ? { x, y } : undefined;
}

function parseParts(text: string): Place[][] {
  return text
    .split(";")
    .map((part) => part.split(/\s+/).filter(Boolean).map(parsePoint))
    .map((part) => part.filter((place): place is Place => place !== undefined))
    .filter((part) => part.length > 0);
}

// A drawn line with far fewer points, none of them moved: a point is kept when the line would
// otherwise stray from it by more than a share of the whole shape's size.
function thinned(path: Place[]): Place[] {
  const xs = path.map((one) => one.x);
  const ys = path.map((one) => one.y);
  const size = Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys));
  if (path.length < 3 || size < LEAST_PX) return [];
  const kept = simplify(path, Math.max(1, size / 120));
  return kept.length < 3 ? [] : kept;
}

function simplify(path: Place[], most: number): Place[] {
  const first = path[0]!;
  const last = path[path.length - 1]!;
  let far = 0;
  let split = 0;
  const length = Math.hypot(last.x - first.x, last.y - first.y);
  for (let at = 1; at < path.length - 1; at += 1) {
    const one = path[at]!;
    const across = (last.x - first.x) * (one.y - first.y) - (last.y - first.y) * (one.x - first.x);
    const away =
      length > 1e-6 ? Math.abs(across) / length : Math.hypot(one.x - first.x, one.y - first.y);
    if (away > far) {
      far = away;
      split = at;
    }
  }
  if (far <= most) return path.length > 1 ? [first, last] : path;
  return [...simplify(path.slice(0, split + 1), most).slice(0, -1), ...simplify(path.slice(split), most)];
}

customElements.define("qw-correct", Correct);
