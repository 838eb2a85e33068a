// What lies on the map: one pane a layer, so that the order never changes.
const map = map_survey;
// A printed sheet does not glide: every move is at once.
const { panBy } = map;
map.panBy = (offset, options) => panBy.call(map, offset, { ...options, animate: false });
const pictures = Object.fromEntries(data.pictures.map((name, i) => [name, overlays[i]]));
const INK = "#22302F";
const PAPER = "#FBF9F4";
const COLD = "#1B2A5C";
const PANES = [
  "paper", "colour", "relief", "codes", "missing", "water", "contours", "pockets",
  "blocks", "field", "barriers", "paths", "figures", "no_go", "spots", "marks", "tools",
];
const renderers = {};
PANES.forEach((name, i) => {
  map.createPane(name).style.zIndex = 200 + 10 * i;
  renderers[name] = L.svg({ pane: name, padding: 0.5 });
});
const groups = Object.fromEntries(PANES.map((name) => [name, L.layerGroup()]));
let chosenFruit = data.first;
let chosenOption = data.options[0];

function style(pane, options) {
  return { renderer: renderers[pane], pane, interactive: false, ...options };
}

function addArea(pane, rings, options) {
  return L.polygon(rings, style(pane, { stroke: false, fillOpacity: 1, ...options })).addTo(groups[pane]);
}

function addLine(pane, lines, options) {
  return L.polyline(lines, style(pane, { lineCap: "butt", ...options })).addTo(groups[pane]);
}

function addText(group, pane, at, kind, text) {
  const icon = L.divIcon({ className: kind, html: make("div", {}, text), iconSize: null });
  L.marker(at, { icon, interactive: false, keyboard: false, pane }).addTo(groups[group]);
}

function onClick(shape, popup) {
  shape.on("click", (event) => {
    if (isMeasuring()) return;
    L.DomEvent.stopPropagation(event);
    openPopup(event.latlng, popup());
  });
}

function drawGround() {
  addArea("paper", data.paper, { fillColor: "#F6F2E7" });
  addArea("missing", data.missing, { fillColor: "url(#not-known)" });
  data.water.forEach((water) => {
    addArea("water", water.rings, { fillColor: "#D5E3E8", stroke: true, color: "#2F6480", weight: 1.5 });
    if (water.name) addText("water", "figures", water.at, "water-name", water.name);
  });
  const thin = { color: "#6B5B42", weight: 0.7, opacity: 0.6 };
  addLine("contours", data.contours.thin, thin);
  addLine("contours", data.contours.strong, { ...thin, weight: 1.3, opacity: 0.8 });
  data.contours.figures.forEach((figure) => addText("contours", "figures", figure.at, "figure", figure.text));
}

function drawCold() {
  data.pockets.forEach((pocket) => {
    const area = addArea("pockets", pocket.rings, { fillColor: "#5A72A6", fillOpacity: 0.2, interactive: true });
    onClick(area, () => pocket.popup);
    addLine("pockets", pocket.edge, { color: COLD, weight: 1.6 });
  });
}

// From afar the smallest paths would cover the ground: they are left out there,
// and the others are finer.
const FAR = 1.5;

function drawPaths() {
  const far = metresPerPixel() > FAR;
  const shown = data.paths.filter((path) => path.strength > 0 || !far);
  const weight = (path) => [1.3, 2.2, 3.4][path.strength] * (far ? 0.65 : 1);
  return [
    ...shown.map((path) => addLine("paths", path.lines, { color: PAPER, weight: weight(path) + 2.5, opacity: 0.85 })),
    ...shown.map((path) => addLine("paths", path.lines, { color: COLD, weight: weight(path) })),
    ...drawArrows(shown, far),
  ];
}

function drawArrows(paths, far) {
  const chevrons = [[], [], []];
  paths.forEach((path) => thinOut(path.arrows, 70, far ? 60 : 34).forEach((numbers) => {
    const { tip, along } = place(numbers);
    const across = L.point(-along.y, along.x);
    const size = (far ? 4 : 5) + path.strength;
    const wing = (side) => tip.subtract(along.multiplyBy(size)).add(across.multiplyBy(side * size * 0.7));
    chevrons[path.strength].push(toPlaces([wing(1), tip, wing(-1)]));
  }));
  return chevrons.map((lines, i) => addLine("paths", lines, { color: COLD, weight: 1.4 + 0.4 * i }));
}

// Ticks and arrows keep a readable size at every scale: where they would run into
// each other only every second, third … is drawn.
const marks = { pockets: [], paths: [] };

function place(numbers) {
  const [foot, tip] = [numbers.slice(0, 2), numbers.slice(2)].map((at) => map.latLngToLayerPoint(at));
  const length = tip.distanceTo(foot) || 1;
  return { foot, tip, length, along: tip.subtract(foot).divideBy(length) };
}

function thinOut(all, every, apart) {
  const metre = 1 / metresPerPixel();
  const step = Math.max(1, Math.ceil(apart / (every * metre)));
  return all.filter((_, i) => i % step === 0);
}

function metresPerPixel() {
  const middle = map.getCenter();
  const beside = map.layerPointToLatLng(map.latLngToLayerPoint(middle).add([100, 0]));
  return levelDistance(middle, beside) / 100;
}

function toPlaces(points) {
  return points.map((point) => map.layerPointToLatLng(point));
}

function drawMarks() {
  Object.values(marks).flat().forEach((mark) => mark.remove());
  const ticks = data.pockets.flatMap((pocket) => thinOut(pocket.ticks, 11, 7).map((numbers) => {
    const { foot, along, length } = place(numbers);
    return toPlaces([foot, foot.add(along.multiplyBy(Math.max(length, 4.5)))]);
  }));
  marks.pockets = [addLine("pockets", ticks, { color: COLD, weight: 1.4 })];
  marks.paths = drawPaths();
}

function drawEdges() {
  data.field.forEach((part) => part.rings.forEach((rings) => {
    addLine("field", rings, { color: PAPER, weight: 5, opacity: 0.9 });
    addLine("field", rings, { color: INK, weight: 2.2, dashArray: "14 4 2 4" });
  }));
  data.barriers.forEach((barrier) => {
    if (barrier.grown) addLine("barriers", barrier.lines, { color: "#4B5A1F", weight: 4.5, lineCap: "round", dashArray: "0.1 7" });
    else addLine("barriers", barrier.lines, { color: "#4B5A1F", weight: 6, dashArray: "2 5" });
  });
  data.no_go.forEach((area) => {
    const shape = addArea("no_go", area.rings, { fillColor: "#7A1E4A", fillOpacity: 0.15, stroke: true, color: "#7A1E4A", weight: 1.8, dashArray: "4 3", interactive: true });
    onClick(shape, () => area.popup);
  });
}

function drawFindings() {
  const mark = (at, options, popup) => {
    const shape = L.circleMarker(at, style("marks", { interactive: true, radius: 6, color: INK, weight: 1.8, fillColor: PAPER, fillOpacity: 1, ...options }));
    onClick(shape, () => popup);
    return shape;
  };
  own.trees = L.layerGroup(data.trees.map((tree) => mark(tree.at, { radius: 5, fillColor: INK, color: PAPER }, tree.popup)));
  own.notes = L.layerGroup(data.notes.map((note) => mark(note.at, { dashArray: "2 2", color: "#7A4A1E" }, note.popup)));
}

// Layers that are not a whole pane.
const own = {};
const badges = [];

function blockOf(block) {
  return block.fruit[chosenFruit];
}

function drawBlocks() {
  groups.blocks.clearLayers();
  badges.length = 0;
  // Colours, and spots of their own class, speak for themselves.
  const bare = chosenOption.rows.some((row) => row.fill) || map.hasLayer(groups.spots);
  const first = bestFirst()[0];
  bestFirst().forEach((block) => {
    const { code } = blockOf(block);
    addArea("blocks", block.rings, { stroke: true, color: PAPER, weight: block === first ? 6.5 : 4.5, fill: false });
    const outline = addArea("blocks", block.rings, {
      stroke: true, color: INK, weight: block === first ? 3.5 : 1.8, interactive: true,
      dashArray: data.classes[code].dashed ? "7 5" : null,
      fill: !bare, fillColor: `url(#class-${code})`, className: "block-shape",
    });
    onClick(outline, () => blockOf(block).popup);
    addBadge(block, data.classes[code].name, outline);
  });
  fitBadges();
}

function addBadge(block, words, outline) {
  const html = make("div", {}, make("b", {}, String(block.block)), make("span", {}, words));
  const icon = L.divIcon({ className: "badge", html, iconSize: null });
  const marker = L.marker(block.at, { icon, keyboard: false }).addTo(groups.blocks);
  onClick(marker, () => blockOf(block).popup);
  badges.push({ html, outline });
}

function covers(a, b) {
  return a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
}

// A rank that would lie on a better one waits for a larger scale. It stands alone
// where the block is narrower than its badge, or where the words would cover another
// badge. Figures of height lines give way to both.
function fitBadges() {
  const placed = badges.filter(({ html, outline }) => html.isConnected && map.hasLayer(outline));
  placed.forEach(({ html }) => html.parentElement.classList.add("narrow"));
  const taken = [];
  const shown = placed.filter(({ html }) => {
    const box = html.getBoundingClientRect();
    const free = !taken.some((other) => covers(box, other));
    html.parentElement.classList.toggle("away", !free);
    if (free) taken.push(box);
    return free;
  });
  shown.forEach(({ html, outline }, i) => {
    const icon = html.parentElement;
    icon.classList.remove("narrow");
    const bounds = outline.getBounds();
    const west = map.latLngToLayerPoint(bounds.getNorthWest());
    const east = map.latLngToLayerPoint(bounds.getSouthEast());
    const box = html.getBoundingClientRect();
    const wide = east.x - west.x >= html.offsetWidth + 8;
    if (wide && !taken.some((other, k) => k !== i && covers(box, other))) taken[i] = box;
    else icon.classList.add("narrow");
  });
  fitFigures(taken);
}

function fitFigures(taken) {
  document.querySelectorAll(".figure > div").forEach((figure) => {
    const box = figure.getBoundingClientRect();
    const free = !taken.some((other) => covers(box, other));
    figure.classList.toggle("away", !free);
    if (free) taken.push(box);
  });
}

function bestFirst() {
  return data.blocks.filter(blockOf).sort((a, b) => blockOf(a).rank - blockOf(b).rank || a.block - b.block);
}

function spotPlace([north, east]) {
  const [latitude, longitude] = data.spots.origin;
  return [latitude + north / 1e6, longitude + east / 1e6];
}

function spotPopup(spot, row) {
  const [, , code, ...told] = row;
  const [limit, reason, slope, night, years, ripening, winter, confidence] = told.map((i) => data.spots.texts[i]);
  const name = data.fruit.find((fruit) => fruit.id === chosenFruit).name;
  return {
    title: `Spot ${spot}`,
    lead: [data.classes[code].name, ` for ${name}. ${reason}`],
    rows: [
      ["Poor-crop years", years], ["Ripening, its block", ripening], ["Winter, its block", winter],
      ["What limits it", limit], ["Clear still night", night],
      ["Slope", slope], ["Confidence", confidence || "not known"],
    ].filter(([, value]) => value),
  };
}

function drawSpots() {
  groups.spots.clearLayers();
  const found = data.spots.fruit[chosenFruit];
  if (!found || !map.hasLayer(groups.spots)) return;
  // Thousands of shapes are too many for one drawing tree.
  const renderer = found.rows.length > 2000 ? L.canvas({ pane: "spots", padding: 0.2 }) : renderers.spots;
  const radius = Math.max(2, found.radius / metresPerPixel());
  found.rows.forEach((row, i) => {
    const kind = data.classes[row[2]];
    const shape = L.circleMarker(spotPlace(row), {
      renderer, pane: "spots", radius, color: INK, weight: 0.9, fillOpacity: 1,
      fillColor: renderer === renderers.spots ? `url(#class-${row[2]})` : kind.fill, dashArray: kind.dashed ? "2 2" : null, className: "spot-shape",
    });
    onClick(shape, () => spotPopup(found.names[i], row));
    shape.addTo(groups.spots);
  });
}

function sizeSpots() {
  const found = data.spots.fruit[chosenFruit];
  if (!found) return;
  const radius = Math.max(2, found.radius / metresPerPixel());
  groups.spots.eachLayer((shape) => shape.setRadius(radius));
}

// The chosen colour layer: its picture, its codes, its missing ground.
const unknown = L.layerGroup();

function drawChosen() {
  Object.values(pictures).forEach((image) => { if (image !== pictures.relief) image.remove(); });
  groups.codes.clearLayers();
  unknown.clearLayers();
  map.getPane("relief").style.opacity = chosenOption.relief;
  const name = chosenOption.layers[chosenFruit] ?? chosenOption.layers[""];
  if (name) {
    pictures[name].addTo(map);
    Object.entries(chosenOption.codes[name] ?? {}).forEach(([code, rings]) => addArea("codes", rings, { fillColor: `url(#${code})` }));
    const gaps = chosenOption.missing[name] ?? [];
    if (gaps.length) L.polygon(gaps, style("missing", { stroke: false, fillOpacity: 1, fillColor: "url(#not-known)" })).addTo(unknown);
  }
  drawBlocks();
}
