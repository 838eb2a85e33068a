// Data of the page, and small helpers that make elements from words. Texts only
// ever become text nodes: no name of a field or note can become markup.
const data = JSON.parse(document.getElementById("data").textContent);
const SVG = "http://www.w3.org/2000/svg";

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "on") Object.entries(value).forEach(([e, f]) => element.addEventListener(e, f));
    else element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null));
  return element;
}

function drawn(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

function picture(width, height, ...children) {
  return drawn("svg", { width, height, viewBox: `0 0 ${width} ${height}`, "aria-hidden": "true" }, ...children);
}

function swatch(fills, width = 26, height = 18, dashed = false) {
  const box = { width, height };
  const svg = picture(width, height, ...fills.map((fill) => drawn("rect", { ...box, fill })));
  svg.setAttribute("class", "swatch");
  if (dashed) svg.append(drawn("rect", { x: 0.5, y: 0.5, width: width - 1, height: height - 1, fill: "none", stroke: "#FBF9F4", "stroke-width": 1.2, "stroke-dasharray": "3 4" }));
  return svg;
}

// Ten boxes for ten years: dark = even in the good case, grey = the range, with a
// pointer under the estimate.
function yearBoxes([years, low, high]) {
  const svg = picture(146, 20);
  const least = low ?? years;
  const most = high ?? years;
  for (let i = 0; i < 10; i += 1) {
    const fill = i < least ? "#22302F" : i < most ? "#B0AFA8" : "#FFFFFF";
    svg.append(drawn("rect", { x: 1 + 14 * i, y: 1, width: 12, height: 10, fill, stroke: "#22302F" }));
  }
  const x = 14 * years;
  svg.append(drawn("path", { d: `M${x - 4} 19L${x} 13L${x + 4} 19Z`, fill: "#22302F" }));
  return svg;
}
