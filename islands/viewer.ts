// Deep zoom over static tiles, with the measured outline drawn on top.
import OpenSeadragon from "openseadragon";

const SVG = "http://www.w3.org/2000/svg";

// The viewer library looks for a mark in the head and, where it is missing, adds an inline style
// that hides the focus ring on touch screens. We keep the ring, and our content policy: this
// element of no language answers the search and does nothing.
function keepFocusRing(): void {
  const mark = document.createElementNS("", "style");
  mark.setAttribute("data-openseadragon-mobile-css", "true");
  document.head.append(mark);
}

function button(words: string, act: () => void): HTMLButtonElement {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "quiet";
  made.textContent = words;
  made.addEventListener("click", act);
  return made;
}

class Overlay {
  readonly svg = document.createElementNS(SVG, "svg");

  constructor(private readonly viewer: OpenSeadragon.Viewer, outlines: string[]) {
    this.svg.setAttribute("class", "overlay");
    this.svg.setAttribute("preserveAspectRatio", "none");
    this.svg.setAttribute("aria-hidden", "true");
    for (const points of outlines) {
      for (const layer of ["outline", "outline top"]) {
        const shape = document.createElementNS(SVG, "polygon");
        shape.setAttribute("points", points);
        shape.setAttribute("class", layer);
        this.svg.append(shape);
      }
    }
    viewer.addHandler("update-viewport", () => this.follow());
    viewer.addHandler("resize", () => this.follow());
  }

  follow(): void {
    const item = this.viewer.world.getItemAt(0);
    if (!item) return;
    const seen = item.viewportToImageRectangle(this.viewer.viewport.getBounds(true));
    this.svg.setAttribute("viewBox", `${seen.x} ${seen.y} ${seen.width} ${seen.height}`);
  }
}

class Viewer extends HTMLElement {
  private viewer: OpenSeadragon.Viewer | undefined;

  connectedCallback(): void {
    const info = this.dataset["info"];
    if (!info || this.viewer) return;
    const canvas = document.createElement("div");
    canvas.className = "canvas";
    const fallback = [...this.children];
    this.replaceChildren(canvas);
    keepFocusRing();
    const viewer = OpenSeadragon({
      element: canvas,
      tileSources: info as unknown as OpenSeadragon.TileSourceOptions,
      drawer: "canvas",
      showNavigationControl: false,
      animationTime: matchMedia("(prefers-reduced-motion: reduce)").matches ? 0 : 0.5,
      maxZoomPixelRatio: 4,
      gestureSettingsMouse: { clickToZoom: false },
    });
    this.viewer = viewer;
    const outlines = (this.dataset["outline"] ?? "").split(";").filter((line) => line.trim());
    const overlay = new Overlay(viewer, outlines);
    canvas.append(overlay.svg);
    viewer.canvas.setAttribute("role", "application");
    viewer.canvas.setAttribute(
      "aria-label",
      `${this.dataset["label"] ?? "Picture"}: arrow keys move, plus and minus zoom, 0 shows the whole`,
    );
    this.append(this.tools(viewer, overlay, outlines.length > 0));
    viewer.addHandler("open", () => {
      this.dataset["state"] = "open";
      overlay.follow();
    });
    viewer.addHandler("open-failed", () => {
      this.dataset["state"] = "failed";
      const note = document.createElement("p");
      note.setAttribute("role", "status");
      note.textContent = "The close-up could not be opened, so here is the plain picture.";
      this.replaceChildren(note, ...fallback);
    });
  }

  private tools(viewer: OpenSeadragon.Viewer, overlay: Overlay, outlined: boolean): HTMLElement {
    const row = document.createElement("div");
    row.className = "tools";
    const zoom = (factor: number) => () => {
      viewer.viewport.zoomBy(factor);
      viewer.viewport.applyConstraints();
    };
    row.append(
      button("Closer", zoom(1.6)),
      button("Farther", zoom(1 / 1.6)),
      button("Whole picture", () => viewer.viewport.goHome()),
    );
    if (outlined) {
      const toggle = button("Outline", () => {
        const shown = overlay.svg.toggleAttribute("hidden") === false;
        overlay.svg.setAttribute("display", shown ? "inline" : "none");
        toggle.setAttribute("aria-pressed", String(shown));
      });
      toggle.setAttribute("aria-pressed", "true");
      row.append(toggle);
    }
    return row;
  }

  disconnectedCallback(): void {
    this.viewer?.destroy();
    this.viewer = undefined;
  }
}

customElements.define("qw-viewer", Viewer);
