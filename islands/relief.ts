// A relief laid in place of the picture: its height or its shade, before and after each by itself.
// The boxes that choose stand beside the viewer and are only shown when there is something to lay.
import OpenSeadragon from "openseadragon";
import type { Opened } from "./deepzoom";

export type Moment = "before" | "after";
type Laid = OpenSeadragon.TiledImage;

export class Relief {
  kind = "";
  private laid = new Map<string, Laid>();
  private asked = new Set<string>();
  private boxes: HTMLInputElement[];

  constructor(
    host: HTMLElement,
    private opened: Opened,
    private draw: () => void,
    private tell: (words: string) => void,
  ) {
    const beside = host.parentElement;
    const group = beside?.querySelector<HTMLElement>("[data-relief]");
    this.boxes = [...(group?.querySelectorAll("input") ?? [])];
    if (!group) return;
    group.hidden = false;
    for (const plain of beside?.querySelectorAll<HTMLElement>("[data-relief-plain]") ?? []) {
      plain.hidden = true;
    }
    for (const box of this.boxes) {
      box.addEventListener("change", () => this.choose(box));
      if (box.checked && box.value) queueMicrotask(() => this.choose(box));
    }
  }

  // What is laid for a moment now; nothing when the picture itself is to be seen.
  of(moment: Moment): Laid | undefined {
    return this.laid.get(`${moment} ${this.kind}`);
  }

  get all(): Laid[] {
    return [...this.laid.values()];
  }

  private choose(box: HTMLInputElement): void {
    this.kind = box.value;
    for (const moment of ["before", "after"] as const) {
      const url = box.dataset[moment];
      if (url) this.lay(moment, box.value, url);
    }
    this.draw();
  }

  // The before relief lies right above the before picture, the after relief above everything.
  private lay(moment: Moment, kind: string, url: string): void {
    const key = `${moment} ${kind}`;
    if (this.asked.has(key)) return;
    this.asked.add(key);
    this.tell("Working out the relief …");
    this.opened.viewer.addTiledImage({
      tileSource: { type: "image", url } as unknown as OpenSeadragon.TileSourceOptions,
      width: 1,
      opacity: 0,
      ...(moment === "before" ? { index: 1 } : {}),
      success: (event) => {
        this.laid.set(key, (event as unknown as { item: Laid }).item);
        this.tell("");
        this.draw();
      },
      error: () => {
        this.asked.delete(key);
        this.tell("The relief could not be shown.");
      },
    });
  }
}
