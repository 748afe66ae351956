// A round glass beside the finger that shows what lies under it, enlarged.
import OpenSeadragon from "openseadragon";
import { onScreen, type Opened, type Place } from "./deepzoom";

const SIDE = 156;
const AWAY = 44;
const LEAST_SCREEN_PX = 2;

export class Loupe {
  private readonly glass = document.createElement("div");
  private readonly viewer: OpenSeadragon.Viewer;

  constructor(
    private readonly opened: Opened,
    info: string,
  ) {
    this.glass.className = "loupe";
    this.glass.setAttribute("aria-hidden", "true");
    opened.canvas.append(this.glass);
    this.viewer = OpenSeadragon({
      element: this.glass,
      tileSources: info as unknown as OpenSeadragon.TileSourceOptions,
      drawer: "canvas",
      showNavigationControl: false,
      mouseNavEnabled: false,
      tabIndex: -1,
      animationTime: 0,
      immediateRender: true,
      visibilityRatio: 0,
      maxZoomPixelRatio: 32,
      minZoomImageRatio: 0.1,
    });
    this.viewer.canvas.tabIndex = -1;
    this.hide();
  }

  show(place: Place): void {
    this.glass.hidden = false;
    const at = onScreen(this.opened.viewer, place);
    const box = this.opened.canvas;
    const above = at.y > SIDE + AWAY;
    const x = Math.min(Math.max(at.x - SIDE / 2, 4), box.clientWidth - SIDE - 8);
    const y = above ? at.y - SIDE - AWAY : Math.min(at.y + AWAY, box.clientHeight - SIDE - 8);
    this.glass.style.left = `${x}px`;
    this.glass.style.top = `${y}px`;
    const item = this.viewer.world.getItemAt(0);
    if (!item) {
      this.viewer.addOnceHandler("open", () => this.show(place));
      return;
    }
    const main = this.opened.viewer;
    const px = main.world
      .getItemAt(0)
      .viewportToImageRectangle(main.viewport.getBounds(true)).width;
    const now = box.clientWidth / px;
    const wanted = Math.max(LEAST_SCREEN_PX, 3 * now);
    this.viewer.viewport.zoomTo(item.imageToViewportZoom(wanted), undefined, true);
    this.viewer.viewport.panTo(item.imageToViewportCoordinates(place.x, place.y), true);
  }

  hide(): void {
    this.glass.hidden = true;
  }

  destroy(): void {
    this.viewer.destroy();
    this.glass.remove();
  }
}
