// Before and after on one grid: side by side, a curtain between them, each alone, one for the
// other, and the map of their difference. Nothing moves unless it is asked to, and it stops.
import OpenSeadragon from "openseadragon";
import { Beside } from "./beside";
import { button, calm, openTiles, type Opened } from "./deepzoom";
import { Relief } from "./relief";

type Mode = "before" | "after" | "curtain" | "difference" | "sides";
const MODES: [Mode, string][] = [
  ["curtain", "Curtain"],
  ["sides", "Side by side"],
  ["before", "Before"],
  ["after", "After"],
  ["difference", "Difference"],
];
const SWAP_MS = 1000; // each picture stands a second
const SWAPS = 8;
// However fast a key or finger is: no more than three changes in a second, half of the three
// flashes (pairs of changes) that WCAG 2.3.1 allows.
const LEAST_MS = 350;

class Pair extends HTMLElement {
  private opened: Opened | undefined;
  private laid: OpenSeadragon.TiledImage | undefined;
  private alike: OpenSeadragon.TiledImage | undefined;
  private scanned: OpenSeadragon.TiledImage | undefined;
  private asScanned = false;
  private beside: Beside | undefined;
  private swapped = 0;
  private held = false;
  private difference: OpenSeadragon.TiledImage | undefined;
  private relief: Relief | undefined;
  private mode: Mode = "curtain";
  private slider = document.createElement("input");
  private edge = document.createElement("div");
  private tags = [tag("left"), tag("right")] as const;
  private status = document.createElement("p");
  private timer = 0;
  private blinker: HTMLButtonElement | undefined;

  connectedCallback(): void {
    if (this.opened) return;
    this.factor();
    const opened = openTiles(this);
    if (!opened) return;
    this.opened = opened;
    this.status.setAttribute("role", "status");
    this.status.className = "soft";
    this.controls(opened);
    opened.viewer.addHandler("open", () => this.layAfter(opened));
    opened.viewer.addHandler("update-viewport", () => this.clip());
    opened.viewer.addHandler("resize", () => this.clip());
  }

  private controls(opened: Opened): void {
    this.prepend(this.modes());
    this.slider.type = "range";
    this.slider.min = "0";
    this.slider.max = "100";
    this.slider.value = "50";
    this.slider.setAttribute("aria-label", "Where the edge between before and after stands");
    this.slider.addEventListener("input", () => this.draw());
    this.edge.className = "edge";
    this.edge.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      this.edge.setPointerCapture(event.pointerId);
    });
    this.edge.addEventListener("pointermove", (event) => {
      if (!this.edge.hasPointerCapture(event.pointerId)) return;
      const box = opened.canvas.getBoundingClientRect();
      const share = ((event.clientX - box.left) / box.width) * 100;
      this.slider.value = String(Math.min(100, Math.max(0, share)));
      this.draw();
    });
    opened.canvas.append(this.edge, ...this.tags);
    opened.canvas.after(this.slider);
    const row = document.createElement("div");
    row.className = "canvases";
    opened.canvas.replaceWith(row);
    row.append(opened.canvas);
    const um = Number(this.dataset["um"] ?? 0);
    this.beside = new Beside(row, opened.viewer, um, this.dataset["label"] ?? "Picture");
    const swap = button("Swap before and after", () => this.swap());
    opened.tools.append(swap, this.holder());
    if (this.dataset["scanned"]) opened.tools.after(this.scannedSwitch(opened));
    const key = this.differenceKey();
    if (key) key.hidden = true;
    if (!calm()) {
      this.blinker = button("Swap eight times by itself", () => this.blink());
      opened.tools.append(this.blinker);
    }
    opened.tools.after(this.status);
    this.edge.style.display = "none"; // until there is something to draw it on
    this.tell("Opening the before picture …");
  }

  private modes(): HTMLElement {
    const group = document.createElement("fieldset");
    group.className = "modes";
    const legend = document.createElement("legend");
    legend.className = "unseen";
    legend.textContent = "What is shown";
    group.append(legend);
    for (const [mode, words] of MODES) {
      const label = document.createElement("label");
      const box = document.createElement("input");
      box.type = "radio";
      box.name = "pair-mode";
      box.value = mode;
      box.checked = mode === this.mode;
      box.addEventListener("change", () => {
        this.stop();
        this.show(mode);
      });
      label.append(box, words);
      group.append(label);
    }
    return group;
  }

  private layAfter(opened: Opened): void {
    if (this.laid) return;
    this.tell("Laying the after picture on the before picture …");
    opened.viewer.addTiledImage({
      tileSource: this.dataset["after"] as unknown as string,
      width: 1,
      success: (event) => {
        this.alike = (event as unknown as { item: OpenSeadragon.TiledImage }).item;
        this.laid = this.alike;
        this.dataset["state"] = "laid";
        this.tell("");
        this.relief = new Relief(this, opened, () => this.draw(), (words) => this.tell(words));
        this.draw();
      },
      error: () => this.tell("The after picture could not be laid on the before picture."),
    });
  }

  private show(mode: Mode): void {
    this.mode = mode;
    const box = this.querySelector<HTMLInputElement>(`.modes input[value="${mode}"]`);
    if (box) box.checked = true;
    if (mode === "difference" && !this.difference) this.layDifference();
    const key = this.differenceKey();
    if (key) key.hidden = !(key.open = mode === "difference");
    this.besideNow();
    this.draw();
  }

  private differenceKey(): HTMLDetailsElement | null | undefined {
    return this.parentElement?.querySelector<HTMLDetailsElement>("[data-difference-key]");
  }

  private besideNow(): void {
    const source = this.dataset[this.asScanned ? "scanned" : "after"];
    this.beside?.show(this.mode === "sides" ? source : undefined);
  }

  // The after picture as it was scanned, in place of the one exposed like the before picture.
  private scannedSwitch(opened: Opened): HTMLElement {
    const label = document.createElement("label");
    label.className = "switch";
    const box = document.createElement("input");
    box.type = "checkbox";
    box.autocomplete = "off";
    box.addEventListener("change", () => {
      this.stop();
      this.asScanned = box.checked;
      if (box.checked && !this.scanned) this.layScanned(opened);
      else this.choose();
    });
    const words = document.createElement("span");
    words.textContent = "After picture as scanned, exposure not brought alike";
    label.append(box, words);
    return label;
  }

  private layScanned(opened: Opened): void {
    this.tell("Laying the after picture as scanned …");
    opened.viewer.addTiledImage({
      tileSource: this.dataset["scanned"] as unknown as string,
      width: 1,
      opacity: 0,
      index: 2,
      success: (event) => {
        this.scanned = (event as unknown as { item: OpenSeadragon.TiledImage }).item;
        this.tell("");
        this.choose();
      },
      error: () => this.tell("The after picture as scanned could not be laid."),
    });
  }

  private choose(): void {
    this.laid?.setOpacity(0);
    this.laid = this.asScanned ? (this.scanned ?? this.alike) : this.alike;
    this.besideNow();
    this.draw();
  }

  private layDifference(): void {
    this.tell("Computing the difference …");
    this.opened?.viewer.addTiledImage({
      tileSource: {
        type: "image",
        url: this.dataset["difference"],
      } as unknown as OpenSeadragon.TileSourceOptions,
      width: 1,
      success: (event) => {
        this.difference = (event as unknown as { item: OpenSeadragon.TiledImage }).item;
        this.tell("");
        this.draw();
      },
      error: () => this.tell("The difference could not be computed."),
    });
  }

  private draw(): void {
    const opened = this.opened;
    const base = opened?.viewer.world.getItemAt(0);
    if (!opened || !base) return;
    const curtain = this.mode === "curtain";
    const share = Number(this.slider.value);
    this.edge.hidden = this.slider.hidden = !curtain;
    this.edge.style.left = `${share}%`;
    this.edge.style.display = curtain ? "" : "none";
    this.slider.setAttribute(
      "aria-valuetext",
      `before on the left ${Math.round(share)} %, after on the right`,
    );
    const names: Record<Mode, [string, string]> = {
      curtain: ["Before", "After"],
      before: ["Before", ""],
      after: ["After", ""],
      sides: ["Before", ""],
      difference: [this.difference ? "Difference" : "Before", ""],
    };
    for (const [at, mark] of this.tags.entries()) {
      mark.textContent = names[this.mode][at] ?? "";
      mark.hidden = !mark.textContent;
    }
    this.difference?.setOpacity(this.mode === "difference" ? 1 : 0);
    if (!this.laid) return;
    this.laid.setOpacity(this.mode === "after" || curtain ? 1 : 0);
    const before = this.relief?.of("before");
    const after = this.relief?.of("after");
    for (const one of this.relief?.all ?? []) {
      const seen = one === before ? this.mode === "before" : one === after && this.mode === "after";
      one.setOpacity(seen || (curtain && (one === before || one === after)) ? 1 : 0);
    }
    this.clip();
  }

  // The part of the after picture, and of its relief, that the curtain lets through.
  private clip(): void {
    for (const one of [this.laid, this.relief?.of("after")]) if (one) this.clipOne(one);
  }

  // Drawn anew only when the edge moved.
  private clipOne(laid: OpenSeadragon.TiledImage): void {
    const opened = this.opened;
    if (!opened) return;
    const now = laid.getClip();
    if (this.mode !== "curtain") {
      if (now) laid.setClip(null);
      return;
    }
    const bounds = opened.viewer.viewport.getBounds(true);
    const x = bounds.x + (bounds.width * Number(this.slider.value)) / 100;
    const size = laid.getContentSize();
    const left = Math.min(Math.max(laid.viewportToImageCoordinates(x, 0).x, 0), size.x);
    if (now && Math.abs(now.x - left) < 0.01) return;
    laid.setClip(new OpenSeadragon.Rect(left, 0, Math.max(size.x - left, 0.001), size.y));
  }

  private swap(): void {
    this.stop();
    if (this.early() > 0) return;
    this.turn();
  }

  // One picture for the other, and when that was.
  private turn(): void {
    this.swapped = performance.now();
    this.show(this.mode === "after" ? "before" : "after");
  }

  private early(): number {
    return this.swapped ? LEAST_MS - (performance.now() - this.swapped) : 0;
  }

  // The other picture for as long as the button is held, by finger, mouse, space or return.
  private holder(): HTMLButtonElement {
    const held = button("Hold to see the other", () => undefined);
    const press = (): void => {
      if (this.held || this.early() > 0) return;
      this.stop();
      this.held = true;
      this.turn();
    };
    const release = (): void => {
      if (!this.held) return;
      this.held = false;
      this.timer = window.setTimeout(() => this.turn(), Math.max(0, this.early()));
    };
    held.addEventListener("pointerdown", (event) => {
      held.setPointerCapture(event.pointerId);
      press();
    });
    for (const over of ["pointerup", "pointercancel", "blur"]) held.addEventListener(over, release);
    held.addEventListener("contextmenu", (event) => event.preventDefault());
    const key = (event: KeyboardEvent): boolean => event.key === " " || event.key === "Enter";
    held.addEventListener("keydown", (event) => {
      if (!key(event)) return;
      event.preventDefault();
      if (!event.repeat) press();
    });
    held.addEventListener("keyup", (event) => {
      if (key(event)) release();
    });
    return held;
  }

  private blink(): void {
    if (this.timer) {
      this.stop();
      this.tell("Stopped.");
      return;
    }
    let left = SWAPS;
    if (this.blinker) this.blinker.textContent = "Stop";
    const step = (): void => {
      this.turn();
      left -= 1;
      if (left > 0) {
        this.timer = window.setTimeout(step, SWAP_MS);
      } else {
        this.stop();
        this.tell("Swapped eight times, and stopped.");
      }
    };
    step();
  }

  private stop(): void {
    clearTimeout(this.timer);
    this.timer = 0;
    if (this.blinker) this.blinker.textContent = "Swap eight times by itself";
  }

  // How much longer arrows are drawn: at once, without loading the page again.
  private factor(): void {
    const form = this.parentElement?.querySelector<HTMLFormElement>("[data-factor]");
    const choice = form?.querySelector("select");
    if (!form || !choice) return;
    form.querySelector("button")?.remove();
    const arrows = [...this.querySelectorAll<SVGLineElement>("line.layer-arrows")];
    choice.addEventListener("change", () => {
      const factor = Number(choice.value);
      for (const line of arrows) {
        for (const axis of ["x", "y"] as const) {
          const from = Number(line.getAttribute(`${axis}1`));
          const by = Number(line.dataset[axis === "x" ? "dx" : "dy"]);
          line.setAttribute(`${axis}2`, String(from + factor * by));
        }
      }
    });
  }

  private tell(words: string): void {
    this.status.textContent = words;
  }

  disconnectedCallback(): void {
    this.stop();
    this.beside?.close();
    this.opened?.viewer.destroy();
    this.opened = undefined;
  }
}

function tag(side: "left" | "right"): HTMLElement {
  const made = document.createElement("span");
  made.className = `tag ${side}`;
  return made;
}

customElements.define("qw-pair", Pair);
