// The reading of the ground anywhere, from the small grid in the data.
const reading = data.reading;
const decoded = reading.lines.map((line) => {
  const text = atob(line.cells);
  const bytes = Uint8Array.from(text, (letter) => letter.charCodeAt(0));
  return line.bytes === 1 ? bytes : new Uint16Array(bytes.buffer);
});

// Easting and northing of a place, by the polynomial fitted to the survey's grid.
function toGrid(at) {
  const { middle, half, east, north } = reading.metres;
  const point = L.CRS.EPSG3857.project(at);
  const x = (point.x - middle[0]) / half[0];
  const y = (point.y - middle[1]) / half[1];
  const terms = [0, 1, 2, 3].flatMap((i) => [0, 1, 2, 3].map((j) => x ** i * y ** j));
  const sum = (factors) => factors.reduce((total, factor, k) => total + factor * terms[k], 0);
  return [sum(east), sum(north)];
}

function levelDistance(a, b) {
  const [e1, n1] = toGrid(a);
  const [e2, n2] = toGrid(b);
  return Math.hypot(e2 - e1, n2 - n1);
}

function readGround(at) {
  const [west, south, east, north] = reading.frame;
  const [rows, columns] = reading.shape;
  const point = L.CRS.EPSG3857.project(at);
  const column = Math.floor(((point.x - west) / (east - west)) * columns);
  const row = Math.floor(((north - point.y) / (north - south)) * rows);
  const inside = row >= 0 && row < rows && column >= 0 && column < columns;
  const lines = reading.lines.map((line, i) => [
    line.label,
    inside ? line.texts[decoded[i][row * columns + column]] : "not known",
  ]);
  const [e, n] = toGrid(at);
  const place = inside ? [["Grid", `E ${Math.round(e)} N ${Math.round(n)}`]] : [];
  return {
    title: "The ground here",
    lead: ["", inside ? "" : "Off the survey."],
    rows: [...lines, ["Drainage", "not known"], ...place],
  };
}
