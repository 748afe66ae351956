// Before and after in one frame, with an edge between them that moves by mouse, touch or keys.

class Curtain extends HTMLElement {
  connectedCallback(): void {
    const [before, after] = [...this.querySelectorAll("img")];
    if (!before || !after || this.dataset["state"]) return;
    this.dataset["state"] = "ready";
    const stage = document.createElement("div");
    stage.className = "stage";
    const edge = document.createElement("div");
    edge.className = "edge";
    stage.append(before, after, tag("Before", "left"), tag("After", "right"), edge);
    const { label, slider } = this.slider();
    const draw = (): void => {
      const share = Number(slider.value);
      after.style.clipPath = `inset(0 0 0 ${share}%)`;
      edge.style.left = `${share}%`;
      slider.setAttribute("aria-valuetext", `before on the left ${share} %, after on the right`);
    };
    slider.addEventListener("input", draw);
    const follow = (event: PointerEvent): void => {
      const box = stage.getBoundingClientRect();
      const share = ((event.clientX - box.left) / box.width) * 100;
      slider.value = String(Math.round(Math.min(100, Math.max(0, share))));
      draw();
    };
    stage.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      stage.setPointerCapture(event.pointerId);
      follow(event);
    });
    stage.addEventListener("pointermove", (event) => {
      if (stage.hasPointerCapture(event.pointerId)) follow(event);
    });
    this.replaceChildren(stage, label, slider);
    draw();
  }

  private slider(): { label: HTMLLabelElement; slider: HTMLInputElement } {
    const slider = document.createElement("input");
    slider.type = "range";
    slider.min = "0";
    slider.max = "100";
    slider.value = "50";
    slider.id = `${this.id || "curtain"}-edge`;
    const label = document.createElement("label");
    label.htmlFor = slider.id;
    label.textContent = "Where the edge between before and after stands";
    return { label, slider };
  }
}

function tag(words: string, side: "left" | "right"): HTMLElement {
  const made = document.createElement("span");
  made.className = `tag ${side}`;
  made.textContent = words;
  return made;
}

customElements.define("qw-curtain", Curtain);
