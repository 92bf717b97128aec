// The rounds of a plan on a map: straight lines, numbered stops and a scale; a picture of the land only where the
// server names a source of tiles.

// Rounds are told apart by the pattern of their lines and by a letter as well as by their colour.
const WAYS = [
  { name: "a", dashes: null },
  { name: "b", dashes: "10 6" },
  { name: "c", dashes: "2 6" },
  { name: "d", dashes: "14 5 2 5" },
  { name: "e", dashes: "5 5" },
  { name: "f", dashes: "18 4" },
];

export async function showRounds(box, chooser, key) {
  const L = window.L;
  const map = L.map(box, { keyboard: true, scrollWheelZoom: false, attributionControl: Boolean(box.dataset.tiles) });
  L.control.scale({ imperial: true }).addTo(map);
  if (box.dataset.tiles) L.tileLayer(box.dataset.tiles, { attribution: box.dataset.credit || "" }).addTo(map);
  map.setView([0, 0], 2);
  const answer = await fetch(box.dataset.source, { headers: { Accept: "application/geo+json" } });
  if (!answer.ok) return;
  const plan = await answer.json();
  const people = [...new Set(plan.features.map((row) => row.properties.installer).filter(Boolean))].sort();
  const layer = L.layerGroup().addTo(map);

  const draw = (day) => {
    layer.clearLayers();
    const shown = plan.features.filter((row) => row.geometry && (!day || !row.properties.day || row.properties.day === day));
    const bounds = L.latLngBounds([]);
    for (const row of shown) {
      const way = people.indexOf(row.properties.installer);
      const made = featureOf(L, row, way);
      if (!made) continue;
      layer.addLayer(made);
      bounds.extend(made.getBounds ? made.getBounds() : made.getLatLng());
    }
    if (bounds.isValid()) map.fitBounds(bounds.pad(0.08));
    key.replaceChildren(...people.map((name, way) => keyOf(name, way, shown)).filter(Boolean));
  };
  // One day can be read; all of them at once are a heap. The first with a round is where one begins.
  const first = plan.features.map((row) => row.properties.day).filter(Boolean).sort()[0];
  if (first) chooser.value = first;
  chooser.addEventListener("change", () => draw(chooser.value));
  draw(chooser.value);
}

function featureOf(L, row, way) {
  const at = row.properties;
  if (at.kind === "round") {
    const line = row.geometry.coordinates.map(([longitude, latitude]) => [latitude, longitude]);
    return L.polyline(line, { className: `way way-${WAYS[way % WAYS.length].name}`, dashArray: WAYS[way % WAYS.length].dashes, interactive: false });
  }
  const [longitude, latitude] = row.geometry.coordinates;
  const words = at.kind === "stop" ? `${at.site}, ${at.installer}, ${at.order}` : at.kind === "home" ? at.installer : at.sentence;
  const text = at.kind === "stop" ? String(at.order) : at.kind === "home" ? "" : "·";
  const icon = L.divIcon({ className: `place place-${at.kind} ${way < 0 ? "" : `way-${WAYS[way % WAYS.length].name}`}`, html: text, iconSize: [24, 24] });
  const marker = L.marker([latitude, longitude], { icon, keyboard: at.kind === "stop", alt: words, title: words });
  if (at.kind === "stop") {
    marker.on("click keypress", () => document.querySelector(`#stop-${at.stop} a`)?.click());
  }
  return marker;
}

function keyOf(name, way, shown) {
  if (!shown.some((row) => row.properties.installer === name)) return null;
  const row = document.createElement("li");
  const line = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  line.setAttribute("viewBox", "0 0 48 8");
  line.setAttribute("aria-hidden", "true");
  const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
  path.setAttribute("d", "M0 4H48");
  path.setAttribute("class", `way way-${WAYS[way % WAYS.length].name}`);
  if (WAYS[way % WAYS.length].dashes) path.setAttribute("stroke-dasharray", WAYS[way % WAYS.length].dashes);
  line.append(path);
  row.append(line, ` ${name}`);
  return row;
}
