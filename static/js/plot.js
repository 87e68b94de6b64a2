// Coming closer by drawing across a plot. Without this script the links beside it do the same.

const LEAST = 8;

function place(svg, event) {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  const { left, right } = svg.dataset;
  return Math.min(Math.max(point.x, Number(left)), Number(right));
}

function moment(svg, x) {
  const { begin, end, left, right } = svg.dataset;
  const share = (x - left) / (right - left);
  return new Date(1000 * (Number(begin) + share * (end - begin))).toISOString();
}

function mark(svg, from, to) {
  const chosen = svg.querySelector(".plot-chosen") ?? document.createElementNS("http://www.w3.org/2000/svg", "rect");
  chosen.setAttribute("class", "plot-chosen");
  chosen.setAttribute("x", Math.min(from, to));
  chosen.setAttribute("y", 0);
  chosen.setAttribute("width", Math.abs(to - from));
  chosen.setAttribute("height", svg.viewBox.baseVal.height);
  svg.append(chosen);
}

function watch(svg) {
  let from = null;
  svg.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || event.pointerType === "touch") return;
    event.preventDefault();
    from = place(svg, event);
    svg.setPointerCapture(event.pointerId);
  });
  svg.addEventListener("pointermove", (event) => {
    if (from !== null) mark(svg, from, place(svg, event));
  });
  svg.addEventListener("pointerup", (event) => {
    if (from === null) return;
    const [begin, end] = [from, place(svg, event)].sort((one, other) => one - other);
    from = null;
    svg.querySelector(".plot-chosen")?.remove();
    if (end - begin < LEAST) return;
    const address = new URL(svg.dataset.zoom, location.href);
    address.searchParams.set("from", moment(svg, begin));
    address.searchParams.set("to", moment(svg, end));
    location.assign(address);
  });
}

document.addEventListener("DOMContentLoaded", () => {
  for (const svg of document.querySelectorAll("svg[data-zoom]")) watch(svg);
  const fine = matchMedia("(pointer: fine)").matches;
  for (const hint of document.querySelectorAll("[data-zoom-hint]")) hint.hidden = !fine;
});
