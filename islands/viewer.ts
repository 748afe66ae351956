// A picture at deep zoom with its layers; the switches beside it are plain boxes and style.
import { openTiles, type Opened } from "./deepzoom";

class Viewer extends HTMLElement {
  private opened: Opened | undefined;

  connectedCallback(): void {
    if (!this.opened) this.opened = openTiles(this);
  }

  disconnectedCallback(): void {
    this.opened?.viewer.destroy();
    this.opened = undefined;
  }
}

customElements.define("qw-viewer", Viewer);
