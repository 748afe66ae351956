"use strict";
for (const figure of document.querySelectorAll("figure[data-curtain]")) {
  const sides = figure.querySelector(".sides");
  const after = sides.children[1];
  const tools = document.createElement("div");
  const slider = document.createElement("input");
  const button = document.createElement("button");
  const edge = document.createElement("div");
  let on = false;
  edge.className = "edge";
  tools.className = "tools";
  Object.assign(slider, { type: "range", min: "0", max: "100", step: "1", value: "50" });
  slider.setAttribute("aria-label", "How far the picture after treatment is drawn over: " + figure.dataset.curtain);
  button.type = "button";
  const draw = () => {
    after.style.clipPath = on ? "inset(0 " + (100 - slider.value) + "% 0 0)" : "";
    edge.style.left = slider.value + "%";
    slider.setAttribute("aria-valuetext", slider.value + " of 100 parts after treatment");
  };
  const turn = (to) => {
    on = to;
    sides.classList.toggle("curtain", on);
    slider.hidden = !on;
    button.textContent = on ? "Side by side" : "One over the other";
    draw();
  };
  const follow = (event) => {
    if (!on || (event.type === "pointermove" && !event.buttons)) return;
    const box = sides.getBoundingClientRect();
    slider.value = Math.round((100 * (event.clientX - box.left)) / box.width);
    draw();
  };
  slider.addEventListener("input", draw);
  button.addEventListener("click", () => turn(!on));
  sides.addEventListener("pointerdown", follow);
  sides.addEventListener("pointermove", follow);
  for (const image of sides.querySelectorAll("img")) image.draggable = false;
  tools.append(slider, button);
  sides.append(edge);
  sides.after(tools);
  turn(true);
}
