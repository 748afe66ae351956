// A picture at deep zoom with its layers; the switches beside it are plain boxes and style.
import { openTiles, type Opened } from "./deepzoom";
import { Relief } from "./relief";

class Viewer extends HTMLElement {
  private opened: Opened | undefined;

  connectedCallback(): void {
    if (this.opened) return;
    const opened = openTiles(this);
    if (!opened) return;
    this.opened = opened;
    opened.viewer.addOnceHandler("open", () => this.withRelief(opened));
  }

  private withRelief(opened: Opened): void {
    if (!this.parentElement?.querySelector("[data-relief]")) return;
    const status = document.createElement("p");
    status.setAttribute("role", "status");
    status.className = "soft";
    opened.tools.after(status);
    const relief: Relief = new Relief(
      this,
      opened,
      () => {
        const shown = [relief.of("before"), relief.of("after")];
        for (const one of relief.all) one.setOpacity(shown.includes(one) ? 1 : 0);
      },
      (words) => (status.textContent = words),
    );
  }

  disconnectedCallback(): void {
    this.opened?.viewer.destroy();
    this.opened = undefined;
  }
}

customElements.define("qw-viewer", Viewer);
