// The margin: the answer, the questions with their keys, the symbols, the limits.
const sheet = document.getElementById("sheet");

function fillMargin() {
  const { told } = data;
  document.title = `${told.name}: where to extend the orchard`;
  document.getElementById("drawer-answer").textContent = told.headline;
  sheet.append(
    make("div", { id: "chosen" },
      make("h1", {}, told.name),
      make("p", { class: "purpose" }, data.purpose),
      make("p", { class: "stamp" }, make("b", {}, told.stamp[0]), told.stamp[1] ? ` ${told.stamp[1]}` : ""),
      make("h2", {}, "The answer"),
      make("p", {}, told.headline),
      make("div", { class: "heads", id: "heads" }),
      make("ul", { id: "blocks" }),
      make("h2", {}, "Ask the ground"),
      fruitChoice(),
      questions(),
      make("h2", {}, "Also draw"),
      make("ul", { id: "symbols" }, ...symbols.filter((s) => s.there).map(symbolRow))),
    make("div", { id: "limits" },
      make("h2", {}, "What this map does not show"),
      make("ul", { class: "plain", id: "not-shown" }, ...[...told.unknowns, told.resolution, ...told.absent].filter(Boolean).map(item)),
      make("h2", {}, "Cautions"),
      make("ul", { class: "plain", id: "cautions" }, ...told.cautions.map(item))),
  );
  listBlocks();
}

function item(text) {
  return make("li", {}, text);
}

function listBlocks() {
  const blocks = bestFirst();
  const withYears = blocks.some((block) => blockOf(block).years.length);
  document.getElementById("heads").replaceChildren(
    make("span", {}, "Block, best first"), make("span", {}, withYears ? "Poor-crop years" : ""));
  document.getElementById("blocks").replaceChildren(...blocks.map((block) => {
    const { code, line, years } = blockOf(block);
    const row = make("button", { type: "button", class: "block", on: { click: () => showBlock(block) } },
      swatch([`url(#class-${code})`], 28, 28, data.classes[code].dashed),
      make("span", {}, `${block.block} ${block.name}`, make("small", {}, line)),
      years.length ? make("span", { class: "years" }, years[0], make("small", {}, years[1])) : null);
    return make("li", {}, row);
  }));
}

function showBlock(block) {
  closeDrawer();
  openPopup(L.latLng(block.at), blockOf(block).popup);
}

function fruitChoice() {
  const select = make("select", { id: "fruit", on: { change: () => chooseFruit(select.value) } },
    ...data.fruit.map(({ id, name }) => make("option", { value: id }, name)));
  select.value = chosenFruit;
  return make("div", { class: "for" }, make("label", { for: "fruit" }, "For"), select);
}

function chooseFruit(fruit) {
  chosenFruit = fruit;
  map.closePopup();
  listBlocks();
  drawChosen();
  drawSpots();
}

function questions() {
  const heads = new Map();
  data.options.forEach((option) => {
    if (!heads.has(option.question)) heads.set(option.question, []);
    heads.get(option.question).push(option);
  });
  return make("fieldset", { id: "questions" }, make("legend", { class: "second" }, "One question at a time"),
    ...[...heads].flatMap(([question, options]) => [
      make("h3", { "data-question": question }, question), ...options.map(optionRow)]));
}

function optionRow(option) {
  const input = make("input", { type: "radio", name: "option", value: option.id, on: { change: () => chooseOption(option) } });
  if (option === chosenOption) input.checked = true;
  const key = make("div", { class: "key" }, make("ul", {}, ...option.rows.map(keyRow)), make("p", { class: "note" }, option.note));
  key.hidden = option !== chosenOption;
  return make("div", { class: option === chosenOption ? "option chosen" : "option", "data-option": option.id },
    make("label", {}, input, option.label), key);
}

function keyFills(row) {
  if (row.pattern !== undefined) return [`url(#class-${row.pattern})`];
  return row.line ? [row.fill, `url(#${row.line})`] : [row.fill];
}

function keyRow(row) {
  return make("li", {}, swatch(keyFills(row), 34, 19), row.text);
}

function chooseOption(option) {
  chosenOption = option;
  map.closePopup();
  document.querySelectorAll(".option").forEach((row) => {
    const chosen = row.dataset.option === option.id;
    row.classList.toggle("chosen", chosen);
    row.querySelector(".key").hidden = !chosen;
  });
  markQuestion();
  drawChosen();
  fillStrip();
}

function markQuestion() {
  document.querySelectorAll("#questions h3").forEach((head) => {
    head.classList.toggle("chosen", head.dataset.question === chosenOption.question);
  });
}

// The key of a phone: a strip above the drawer, with the breaks under the joints.
function fillStrip() {
  const strip = document.getElementById("strip");
  const rows = chosenOption.rows.filter((row) => row.fill);
  strip.classList.toggle("shown", rows.length > 0);
  document.body.classList.toggle("strip", rows.length > 0);
  if (!rows.length) return;
  const wide = 100 / rows.length;
  const [low, high] = chosenOption.ends.length ? chosenOption.ends : ["", ""];
  const bar = drawn("svg", { preserveAspectRatio: "none" }, ...rows.flatMap((row, i) => keyFills(row).map((fill) => (
    drawn("rect", { x: `${i * wide}%`, y: 0, width: `${wide}%`, height: 16, fill })))));
  strip.classList.toggle("words", chosenOption.words);
  strip.replaceChildren(
    make("div", { class: "ends" }, make("span", {}, low), make("span", {}, chosenOption.strip), make("span", {}, high)),
    bar,
    make("div", { class: "limits" }, ...rows.map((row) => make("span", {}, make("i", {}, row.limit)))));
}

const symbols = [
  ["relief", "Relief", true, () => pictures.relief, true, [["rect", { width: 34, height: 18, fill: "#D8D2C4" }], ["path", { d: "M0 18L12 4L20 18Z", fill: "#A79F90" }]]],
  ["contours", "Height lines", true, () => groups.contours, data.contours.strong.length + data.contours.thin.length, [["path", { d: "M0 6Q17 0 34 6M0 13Q17 7 34 13", fill: "none", stroke: "#6B5B42", "stroke-width": 1.2 }]]],
  ["water", "Water", true, () => groups.water, data.water.length, [["rect", { x: 1, y: 1, width: 32, height: 16, fill: "#D5E3E8", stroke: "#2F6480", "stroke-width": 1.5 }]]],
  ["field", "Edge of the field", true, () => groups.field, data.field.length, [["path", { d: "M0 9H34", stroke: INK, "stroke-width": 2.2, "stroke-dasharray": "14 4 2 4" }]]],
  ["barriers", "Hedges, wood edges (beads); walls, banks, fences (bars)", true, () => groups.barriers, data.barriers.length, [["path", { d: "M3 5H34", stroke: "#4B5A1F", "stroke-width": 4.5, "stroke-linecap": "round", "stroke-dasharray": "0.1 7" }], ["path", { d: "M2 14H34", stroke: "#4B5A1F", "stroke-width": 6, "stroke-dasharray": "2 5" }]]],
  ["blocks", "Blocks", true, () => groups.blocks, data.blocks.length, [["rect", { x: 2, y: 2, width: 30, height: 14, fill: "none", stroke: INK, "stroke-width": 1.8 }]]],
  ["pockets", "Frost pockets, teeth inward", true, () => groups.pockets, data.pockets.length, [["path", { d: "M1 3H33V17H1Z", fill: "#5A72A6", "fill-opacity": 0.2 }], ["path", { d: "M0 3H34M4 3V9M12 3V9M20 3V9M28 3V9", stroke: COLD, "stroke-width": 1.6 }]]],
  ["paths", "Cold-air paths, wider with more ground above", true, () => groups.paths, data.paths.length, [["path", { d: "M0 9H32M24 4L30 9L24 14", fill: "none", stroke: COLD, "stroke-width": 1.8 }]]],
  ["spots", data.spots.every > 1 ? `Spots, one of every ${data.spots.every}; all are in site.gpkg` : "Spots for the chosen fruit", false, () => groups.spots, data.spots.texts.length, [["circle", { cx: 9, cy: 9, r: 5, fill: "#6FA594", stroke: INK }], ["circle", { cx: 25, cy: 9, r: 5, fill: "#FFFFFF", stroke: INK, "stroke-dasharray": "2 2" }]]],
  ["no_go", "No-go", false, () => groups.no_go, data.no_go.length, [["rect", { x: 2, y: 2, width: 30, height: 14, fill: "#7A1E4A", "fill-opacity": 0.15, stroke: "#7A1E4A", "stroke-width": 1.8, "stroke-dasharray": "4 3" }]]],
  ["trees", "Your trees", false, () => own.trees, data.trees.length, [["circle", { cx: 17, cy: 9, r: 5, fill: INK }]]],
  ["notes", "Your notes", false, () => own.notes, data.notes.length, [["circle", { cx: 17, cy: 9, r: 6, fill: PAPER, stroke: "#7A4A1E", "stroke-width": 1.8, "stroke-dasharray": "2 2" }]]],
].map(([id, label, on, layer, there, drawing]) => ({ id, label, on, layer, there: Boolean(there), drawing }));

function symbolRow(symbol) {
  const row = make("li", { class: symbol.on ? "symbol on" : "symbol" });
  const input = make("input", { type: "checkbox", "data-symbol": symbol.id, on: { change: () => {
    row.classList.toggle("on", input.checked);
    showSymbol(symbol, input.checked);
  } } });
  input.checked = symbol.on;
  row.append(make("label", {}, input, picture(34, 18, ...symbol.drawing.map(([tag, a]) => drawn(tag, a))), symbol.label));
  return row;
}

function showSymbol(symbol, on) {
  if (on) symbol.layer().addTo(map);
  else symbol.layer().remove();
  if (symbol.id === "spots") drawSpots();
  if (symbol.id === "spots" || symbol.id === "blocks") drawBlocks();
}

function closeDrawer() {
  document.body.classList.remove("open");
  document.getElementById("drawer").setAttribute("aria-expanded", "false");
}
