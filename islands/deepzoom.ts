// Deep zoom over static tiles, with a drawing laid on top that follows every move.
import OpenSeadragon from "openseadragon";

export interface Opened {
  viewer: OpenSeadragon.Viewer;
  canvas: HTMLElement;
  svg: SVGSVGElement;
  tools: HTMLElement;
}

export interface Place {
  x: number;
  y: number;
}

const SVG = "http://www.w3.org/2000/svg";

// The viewer library looks for a mark in the head and, where it is missing, adds an inline style
// that hides the focus ring on touch screens. We keep the ring, and our content policy: this
// element of no language answers the search and does nothing.
function keepFocusRing(): void {
  if (document.querySelector("[data-openseadragon-mobile-css]")) return;
  const mark = document.createElementNS("", "style");
  mark.setAttribute("data-openseadragon-mobile-css", "true");
  document.head.append(mark);
}

export function button(words: string, act: () => void): HTMLButtonElement {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "quiet";
  made.textContent = words;
  made.addEventListener("click", act);
  return made;
}

export function svgPart(name: string, attributes: Record<string, string>): SVGElement {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

export const calm = (): boolean => matchMedia("(prefers-reduced-motion: reduce)").matches;

// Opens the tiles named by the host's data-info in place of its plain picture. The drawing that
// lies over the plain picture is moved onto the deep zoom; when that fails, all goes back.
export function openTiles(host: HTMLElement): Opened | undefined {
  const info = host.dataset["info"];
  if (!info) return undefined;
  const fallback = [...host.children];
  const drawn = host.querySelector<SVGSVGElement>("svg.over");
  const svg = drawn ?? (document.createElementNS(SVG, "svg") as SVGSVGElement);
  const home = drawn?.parentElement;
  const canvas = document.createElement("div");
  canvas.className = "canvas";
  // The tiles of a picture seen for the first time take seconds: the plain one stands meanwhile.
  const waiting = host.querySelector("img")?.cloneNode() as HTMLImageElement | undefined;
  if (waiting) {
    waiting.className = "waiting";
    waiting.alt = "";
    canvas.append(waiting);
  }
  host.replaceChildren(canvas);
  keepFocusRing();
  const viewer = OpenSeadragon({
    element: canvas,
    tileSources: info as unknown as OpenSeadragon.TileSourceOptions,
    drawer: "canvas",
    showNavigationControl: false,
    animationTime: calm() ? 0 : 0.5,
    maxZoomPixelRatio: 8,
    gestureSettingsMouse: { clickToZoom: false },
  });
  svg.setAttribute("class", "overlay");
  svg.setAttribute("preserveAspectRatio", "xMidYMid meet");
  svg.setAttribute("aria-hidden", "true");
  canvas.append(svg);
  viewer.canvas.setAttribute("role", "application");
  viewer.canvas.setAttribute(
    "aria-label",
    `${host.dataset["label"] ?? "Picture"}: arrow keys move, plus and minus zoom, 0 shows the whole`,
  );
  const tools = zoomTools(viewer);
  host.append(tools);
  const follow = (): void => followView(viewer, svg);
  viewer.addHandler("update-viewport", follow);
  viewer.addHandler("resize", follow);
  viewer.addHandler("open", () => {
    host.dataset["state"] = "open";
    svg.setAttribute("preserveAspectRatio", "none");
    follow();
  });
  viewer.addOnceHandler("tile-drawn", () => waiting?.remove());
  viewer.addHandler("open-failed", () => {
    if (host.dataset["state"]) return;
    host.dataset["state"] = "failed";
    if (home) {
      svg.setAttribute("class", "over");
      svg.setAttribute("preserveAspectRatio", "none");
      home.append(svg);
    }
    const note = document.createElement("p");
    note.setAttribute("role", "status");
    note.textContent = "The close-up could not be opened, so here is the plain picture.";
    host.replaceChildren(note, ...fallback);
  });
  if (host.dataset["um"]) scaleBar(viewer, canvas, Number(host.dataset["um"]));
  return { viewer, canvas, svg, tools };
}

function followView(viewer: OpenSeadragon.Viewer, svg: SVGSVGElement): void {
  const item = viewer.world.getItemAt(0);
  if (!item) return;
  const seen = item.viewportToImageRectangle(viewer.viewport.getBounds(true));
  svg.setAttribute("viewBox", `${seen.x} ${seen.y} ${seen.width} ${seen.height}`);
  svg.style.setProperty("--px", String(seen.width / Math.max(1, svg.clientWidth)));
}

function zoomTools(viewer: OpenSeadragon.Viewer): HTMLElement {
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
  return row;
}

// A bar of a round length that keeps its meaning at every zoom.
export function scaleBar(viewer: OpenSeadragon.Viewer, canvas: HTMLElement, umPerPx: number): void {
  const bar = document.createElement("div");
  bar.className = "scale-bar";
  const words = document.createElement("span");
  const line = document.createElement("i");
  bar.append(words, line);
  canvas.append(bar);
  const draw = (): void => {
    const item = viewer.world.getItemAt(0);
    if (!item) return;
    const px = item.viewportToImageRectangle(viewer.viewport.getBounds(true)).width;
    const mmPerScreenPx = (px * umPerPx) / 1000 / Math.max(1, canvas.clientWidth);
    const most = 130 * mmPerScreenPx;
    const power = 10 ** Math.floor(Math.log10(most));
    const length = [5, 2, 1].find((step) => step * power <= most)! * power;
    line.style.width = `${length / mmPerScreenPx}px`;
    words.textContent = `${length >= 1 ? length : Number(length.toPrecision(1))} mm`;
  };
  viewer.addHandler("update-viewport", draw);
  viewer.addHandler("open", draw);
}

// Picture pixels to pixels of the canvas element, and back.
export function onScreen(viewer: OpenSeadragon.Viewer, place: Place): Place {
  const item = viewer.world.getItemAt(0);
  const at = item.imageToViewportCoordinates(place.x, place.y);
  return viewer.viewport.viewportToViewerElementCoordinates(at);
}

export function onPicture(viewer: OpenSeadragon.Viewer, place: Place): Place {
  const at = viewer.viewport.viewerElementToViewportCoordinates(
    new OpenSeadragon.Point(place.x, place.y),
  );
  return viewer.world.getItemAt(0).viewportToImageCoordinates(at);
}
