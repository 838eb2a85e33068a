// Buttons, popups, measuring, the place of the reader, and printing.
const status = document.getElementById("status");
let opener = null;

function popupContent({ title, lead, rows }) {
  const body = make("tbody", {}, ...rows.map(([name, value, boxes]) => (
    make("tr", {}, make("th", { scope: "row" }, name), make("td", {}, value, boxes ? yearBoxes(boxes) : null)))));
  return make("div", {}, make("h2", { id: "popup-title" }, title),
    lead[0] || lead[1] ? make("p", {}, make("b", {}, lead[0]), lead[1]) : null,
    rows.length ? make("table", {}, body) : null);
}

function openPopup(at, content) {
  // Focus goes back to what opened the popup; a popup that replaces another keeps
  // the first opener.
  const active = document.activeElement;
  if (!active?.closest(".leaflet-popup")) opener = active;
  const narrow = map.getSize().x < 480;
  // A popup stands clear of scale and north.
  const scale = document.querySelector(".leaflet-bottom.leaflet-left").getBoundingClientRect();
  const foot = map.getContainer().getBoundingClientRect().bottom - scale.top + 6;
  L.popup({
    minWidth: Math.min(270, map.getSize().x - 70), maxWidth: narrow ? map.getSize().x - 60 : 310,
    autoPanPaddingTopLeft: [12, 64], autoPanPaddingBottomRight: [12, foot],
    closeOnClick: false, autoClose: true,
  }).setLatLng(at).setContent(popupContent(content)).openOn(map);
}

map.on("popupopen", ({ popup }) => {
  const box = popup.getElement();
  box.setAttribute("role", "dialog");
  box.setAttribute("aria-labelledby", "popup-title");
  const inner = box.querySelector(".leaflet-popup-content");
  inner.setAttribute("tabindex", "-1");
  inner.focus({ preventScroll: true });
});

map.on("popupclose", ({ popup }) => {
  // Leaflet has taken the popup away by now, and the focus fell on the page.
  const active = document.activeElement;
  const lost = !active || active === document.body || popup.getElement()?.contains(active);
  if (lost && opener?.isConnected) opener.focus({ preventScroll: true });
});

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  if (isMeasuring()) stopMeasuring();
  map.closePopup();
});

map.getContainer().addEventListener("keydown", (event) => {
  if (event.key === "Enter" && event.target === map.getContainer()) openPopup(map.getCenter(), readGround(map.getCenter()));
});

map.on("click", (event) => {
  if (isMeasuring()) addPoint(event.latlng);
  else openPopup(event.latlng, readGround(event.latlng));
});

// Measuring: level metres on the survey's grid, as a tape held level would show.
let measured = null;
const tape = L.layerGroup().addTo(map);

function isMeasuring() {
  return measured !== null;
}

function startMeasuring() {
  map.closePopup();
  measured = [];
  tape.clearLayers();
  buttons.Measure.setAttribute("aria-pressed", "true");
  status.textContent = "Click from point to point. Escape, or Measure again, ends it.";
}

function stopMeasuring() {
  measured = null;
  tape.clearLayers();
  buttons.Measure.setAttribute("aria-pressed", "false");
  status.textContent = "";
}

function addPoint(at) {
  measured.push(at);
  tape.clearLayers();
  L.polyline(measured, style("tools", { color: INK, weight: 2, dashArray: "6 4" })).addTo(tape);
  measured.forEach((point) => L.circleMarker(point, style("tools", { color: INK, weight: 1.5, radius: 3.5, fillColor: PAPER, fillOpacity: 1 })).addTo(tape));
  const metres = measured.slice(1).reduce((sum, point, i) => sum + levelDistance(measured[i], point), 0);
  status.textContent = `${Math.round(metres)}\u00a0m level distance, from the map. Escape ends it.`;
}

function whereAmI() {
  status.textContent = "Asking this device for its position …";
  map.locate({ enableHighAccuracy: true, timeout: 15000 });
}

const here = L.layerGroup().addTo(map);
map.on("locationfound", ({ latlng, accuracy }) => {
  here.clearLayers();
  L.circle(latlng, style("tools", { radius: accuracy, color: INK, weight: 1, fillOpacity: 0.06, fillColor: INK })).addTo(here);
  L.circleMarker(latlng, style("tools", { radius: 6, color: INK, weight: 2, fillColor: PAPER, fillOpacity: 1 })).addTo(here);
  map.panTo(latlng);
  status.textContent = `You are within ${Math.round(accuracy)}\u00a0m of the ring. Not for setting out.`;
});
map.on("locationerror", () => {
  status.textContent = "This device gave no position. A browser often refuses it to a page opened from a file.";
});

function showField() {
  const foot = document.body.classList.contains("print") ? 30 : 92;
  map.fitBounds(L.latLngBounds(data.view), { paddingTopLeft: [24, 62], paddingBottomRight: [24, foot], animate: false });
}

const buttons = Object.fromEntries([
  ["+", "Larger scale", () => map.zoomIn()],
  ["−", "Smaller scale", () => map.zoomOut()],
  ["Field", "Show the whole field", showField],
  ["Measure", "Measure", () => (isMeasuring() ? stopMeasuring() : startMeasuring())],
  ["Where am I", "Where am I", whereAmI],
  ["Print", "Print", () => window.print()],
].map(([word, label, click]) => {
  const button = make("button", { type: "button", title: label, on: { click } }, word);
  if (word.length === 1) button.setAttribute("aria-label", label);
  if (word === "Measure") button.setAttribute("aria-pressed", "false");
  if (word === "Print") button.className = "print";
  return [word, button];
}));
document.getElementById("buttons").append(...Object.values(buttons));

document.getElementById("drawer").addEventListener("click", (event) => {
  const open = document.body.classList.toggle("open");
  event.currentTarget.setAttribute("aria-expanded", String(open));
});

// The browser asks before it lays out the paper, so the map gets its size in
// millimetres from a class and is fitted again.
let before = null;
window.addEventListener("beforeprint", () => {
  if (document.body.classList.contains("print")) return;
  before = map.getBounds();
  map.closePopup();
  document.body.classList.add("print");
  sheet.scrollTop = 0;
  document.getElementById("margin").scrollTop = 0;
  map.invalidateSize({ animate: false, pan: false });
  map.fitBounds(before, { animate: false });
});
window.addEventListener("afterprint", () => {
  document.body.classList.remove("print");
  map.invalidateSize({ animate: false, pan: false });
  if (before) map.fitBounds(before, { animate: false });
});
