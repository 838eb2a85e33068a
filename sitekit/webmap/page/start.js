// Draw everything once, then redraw only what depends on the scale.
L.control.scale({ imperial: false, maxWidth: 130, position: "bottomleft" }).addTo(map);
const north = L.control({ position: "bottomleft" });
north.onAdd = () => make("div", { class: "north" },
  picture(18, 26, drawn("path", { d: "M9 25V3M4 9L9 2L14 9M5 16H13", fill: "none", stroke: INK, "stroke-width": 1.6 })),
  "true N");
north.addTo(map);

showField();
["paper", "missing", "codes"].forEach((name) => groups[name].addTo(map));
unknown.addTo(map);
drawGround();
drawCold();
drawEdges();
drawFindings();
drawMarks();
fillMargin();
markQuestion();
symbols.filter((symbol) => symbol.there && symbol.on).forEach((symbol) => symbol.layer().addTo(map));
drawChosen();
map.on("zoomend", () => { drawMarks(); fitBadges(); sizeSpots(); });
window.addEventListener("resize", () => map.invalidateSize({ animate: false }));
map.getContainer().dataset.ready = "true";
