// A second close-up beside the first: the after picture, which moves and zooms as the first does.
import OpenSeadragon from "openseadragon";
import { calm, scaleBar } from "./deepzoom";

export class Beside {
  private viewer: OpenSeadragon.Viewer | undefined;
  private canvas: HTMLElement | undefined;
  private source = "";
  private following = false;

  constructor(
    private row: HTMLElement,
    private first: OpenSeadragon.Viewer,
    private um: number,
    private label: string,
  ) {
    for (const event of ["zoom", "pan"] as const) {
      first.addHandler(event, () => this.follow(first, this.viewer));
    }
    first.addHandler("resize", () => this.follow(first, this.viewer));
  }

  // Shown with tiles of `source`, or taken away.
  show(source: string | undefined): void {
    this.row.classList.toggle("both", Boolean(source));
    if (!source) {
      this.close();
      return;
    }
    if (this.viewer && this.source === source) return;
    this.close();
    this.source = source;
    const canvas = document.createElement("div");
    canvas.className = "canvas2";
    const tag = document.createElement("span");
    tag.className = "tag left";
    tag.textContent = "After";
    this.row.append(canvas);
    this.canvas = canvas;
    const viewer = OpenSeadragon({
      element: canvas,
      tileSources: source as unknown as OpenSeadragon.TileSourceOptions,
      drawer: "canvas",
      showNavigationControl: false,
      animationTime: calm() ? 0 : 0.5,
      maxZoomPixelRatio: 8,
      gestureSettingsMouse: { clickToZoom: false },
    });
    canvas.append(tag);
    viewer.canvas.setAttribute("role", "application");
    viewer.canvas.setAttribute("aria-label", `${this.label}, after: moves with the first picture`);
    viewer.addHandler("open", () => this.follow(this.first, viewer));
    for (const event of ["zoom", "pan"] as const) {
      viewer.addHandler(event, () => this.follow(viewer, this.first));
    }
    if (this.um) scaleBar(viewer, canvas, this.um);
    this.viewer = viewer;
  }

  close(): void {
    this.viewer?.destroy();
    this.viewer = undefined;
    this.canvas?.remove();
    this.canvas = undefined;
  }

  private follow(from: OpenSeadragon.Viewer, to: OpenSeadragon.Viewer | undefined): void {
    if (this.following || !to?.isOpen() || !from.isOpen()) return;
    this.following = true;
    to.viewport.zoomTo(from.viewport.getZoom(), undefined, calm());
    to.viewport.panTo(from.viewport.getCenter(), calm());
    this.following = false;
  }
}
