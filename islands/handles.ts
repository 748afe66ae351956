// Points that are dragged by mouse, finger or arrow keys; each is a button with room for a knuckle.
import { onPicture, onScreen, type Opened, type Place } from "./deepzoom";
import type { Loupe } from "./loupe";

export interface Grip {
  readonly name: string;
  place: Place;
  readonly moved: boolean;
  readonly small?: boolean;
  /** How far an arrow key moves it [px of the picture]; 1 where it is not said. */
  readonly step?: number;
  /** What it is and where, where that is not told in pixels. */
  says?(): string;
  /** Another key pressed on it; whether it was taken. */
  pressed?(key: string): boolean;
  move(to: Place): void;
  clear(): void;
}

const STEPS: Record<string, [number, number]> = {
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
};

export class Handles {
  private grips: Grip[] = [];
  private knobs: HTMLButtonElement[] = [];

  constructor(
    private readonly opened: Opened,
    private readonly loupe: Loupe,
    private readonly changed: () => void,
  ) {
    opened.viewer.addHandler("update-viewport", () => this.follow());
    opened.viewer.addHandler("resize", () => this.follow());
  }

  set(grips: Grip[]): void {
    for (const knob of this.knobs) knob.remove();
    this.grips = grips;
    this.knobs = grips.map((grip) => this.knob(grip));
    this.opened.canvas.append(...this.knobs);
    this.follow();
  }

  focusLast(): void {
    this.knobs[this.knobs.length - 4]?.focus();
  }

  follow(): void {
    if (!this.opened.viewer.world.getItemAt(0)) return;
    for (const [at, grip] of this.grips.entries()) {
      const knob = this.knobs[at];
      if (!knob) continue;
      const spot = onScreen(this.opened.viewer, grip.place);
      knob.style.transform = `translate(${spot.x}px, ${spot.y}px)`;
      knob.classList.toggle("moved", grip.moved);
      const x = grip.place.x.toFixed(1).replace(/\.0$/, "");
      const y = grip.place.y.toFixed(1).replace(/\.0$/, "");
      const state = grip.small ? "" : grip.moved ? ", set by hand" : ", as found";
      const says = grip.says?.() ?? `${grip.name}: ${x} across, ${y} down${state}`;
      knob.setAttribute("aria-label", says);
    }
  }

  private knob(grip: Grip): HTMLButtonElement {
    const knob = document.createElement("button");
    knob.type = "button";
    knob.className = grip.small ? "handle vertex" : "handle";
    let hold: Place | undefined;
    const at = (event: PointerEvent): Place => {
      const box = this.opened.canvas.getBoundingClientRect();
      return { x: event.clientX - box.left, y: event.clientY - box.top };
    };
    knob.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      event.stopPropagation();
      knob.setPointerCapture(event.pointerId);
      knob.focus({ preventScroll: true });
      const spot = onScreen(this.opened.viewer, grip.place);
      const finger = at(event);
      hold = { x: spot.x - finger.x, y: spot.y - finger.y };
      this.loupe.show(grip.place);
    });
    knob.addEventListener("pointermove", (event) => {
      if (!hold || !knob.hasPointerCapture(event.pointerId)) return;
      const finger = at(event);
      const to = onPicture(this.opened.viewer, { x: finger.x + hold.x, y: finger.y + hold.y });
      this.move(grip, to);
    });
    const drop = (): void => {
      hold = undefined;
      this.loupe.hide();
    };
    knob.addEventListener("pointerup", drop);
    knob.addEventListener("pointercancel", drop);
    knob.addEventListener("keydown", (event) => this.key(event, grip));
    knob.addEventListener("blur", () => this.loupe.hide());
    return knob;
  }

  private key(event: KeyboardEvent, grip: Grip): void {
    const step = STEPS[event.key];
    if (grip.pressed?.(event.key)) {
      event.preventDefault();
      return;
    }
    if (step) {
      event.preventDefault();
      const far = (grip.step ?? 1) * (event.shiftKey ? 10 : 1);
      this.move(grip, { x: grip.place.x + step[0] * far, y: grip.place.y + step[1] * far });
    } else if (event.key === "Escape") {
      grip.clear();
      this.changed();
      this.loupe.hide();
    }
  }

  private move(grip: Grip, to: Place): void {
    grip.move(to);
    this.changed();
    this.loupe.show(grip.place);
  }
}
