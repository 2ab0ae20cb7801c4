"use strict";
/* Map of the homes: counted rings where they lie close together, single marks where they do not. */

const count = new Intl.NumberFormat("en").format;
const share = (part, of) => of < 10 ? count(part)
  : `${(100 * part / of).toFixed(part && part < of / 100 ? 1 : 0)}%`;

function programmeMap(box, { homes, ground, looks }, said, onPick) {
  const TURN = 2 * Math.PI, INK = "#1c1f23", STILL = { animate: false };
  const WIDE = 64, NARROW = 28, FEW = 250; // hexagons in pixels; the narrow ones for few homes
  const REACH = 60; // pixels; an arrow key moves the map by 80, so the cross can reach every mark
  const map = L.map(box, { zoomAnimation: false, fadeAnimation: false, markerZoomAnimation: false,
    inertia: false, attributionControl: false, minZoom: 2, maxZoom: 18, zoomSnap: 0.5 });
  const places = homes.lat.map((lat, h) => lat === null ? null
    : L.latLng(lat / 1e5, homes.lon[h] / 1e5));
  const world = places.map(place => place && map.project(place, 0));
  const around = L.latLngBounds(places.filter(Boolean));
  let worst = [], chosen = -1, cells = [], untouched = true, size, from, scale, seen;

  function fit() {
    untouched = true;
    if (around.isValid()) map.fitBounds(around.pad(.06), { maxZoom: 15, ...STILL });
    else map.setView([0, 0], 2);
  }
  fit();
  const rings = ground.rings.map(flat => flat.flatMap((lon, i) =>
    i % 2 ? [] : [[flat[i + 1] / 1e3, lon / 1e3]]));
  L.polygon(rings, { renderer: L.canvas(), interactive: false, color: "#858d94", weight: 1,
    fillColor: "#eceff0", fillOpacity: 1 }).addTo(map);
  L.control.scale({ imperial: ground.miles, metric: true }).addTo(map);
  const canvas = L.DomUtil.create("canvas", "", map.getPanes().overlayPane);
  canvas.setAttribute("aria-hidden", "true");
  const pen = canvas.getContext("2d"), tip = L.tooltip({ direction: "top", offset: [0, -8] });

  /* Shapes */
  function paint(path, fill, edge, width) {
    Object.assign(pen, { fillStyle: fill, strokeStyle: edge, lineWidth: width });
    if (fill) pen.fill(path);
    if (edge) pen.stroke(path);
  }
  function disc(x, y, radius) {
    const path = new Path2D();
    path.arc(x, y, radius, 0, TURN);
    return path;
  }
  function hatched({ fill, ink }) {
    const tile = document.createElement("canvas"), line = tile.getContext("2d");
    tile.width = tile.height = 6;
    Object.assign(line, { fillStyle: fill, strokeStyle: ink, lineWidth: 1.2 });
    line.fillRect(0, 0, 6, 6);
    line.stroke(new Path2D("M-1 7L7-1"));
    return pen.createPattern(tile, "repeat");
  }
  const fills = looks.map((look, q) => q === 2 ? hatched(look) : look.fill);
  const marks = [disc(0, 0, 6), new Path2D("M-7-5.5H7L0 7Z"), new Path2D("M-5.5-5.5h11v11h-11Z")];

  function drawRing({ x, y, r, n, of }) {
    let turn = -TURN / 4;
    of.forEach((part, q) => {
      const slice = new Path2D(), to = turn + TURN * part / n;
      slice.moveTo(x, y);
      slice.arc(x, y, r, turn, to);
      slice.closePath();
      if (part) paint(slice, fills[q], part < n && "#fff", 1);
      turn = to;
    });
    paint(disc(x, y, r), null, INK, 1);
    paint(disc(x, y, r * .64), "#fff", INK, 1);
    pen.fillStyle = INK;
    pen.fillText(n < 1000 ? n : `${(n / 1000).toFixed(n < 9950 ? 1 : 0)}k`, x, y + 1);
  }
  function drawMark({ x, y, homes: [home] }) {
    pen.save();
    pen.translate(x, y);
    paint(marks[worst[home]], null, "#fff", 3);
    paint(marks[worst[home]], fills[worst[home]], INK, 1);
    pen.restore();
  }

  /* Degrees, and the names of what lies below the homes where there is room. */
  function drawGround() {
    const view = map.getBounds(), wide = (view.getEast() - view.getWest()) / 4;
    const power = 10 ** Math.floor(Math.log10(wide));
    const step = power * [5, 2, 1].find(k => k * power <= wide);
    const name = (v, letters) => `${Math.round(Math.abs(v) * 1e4) / 1e4}° ${letters[+(v < 0)]}`;
    const net = new Path2D();
    Object.assign(pen, { textAlign: "left", fillStyle: "#4a5057", font: "11px sans-serif" });
    for (let lon = Math.ceil(view.getWest() / step) * step; lon < view.getEast(); lon += step) {
      const { x } = map.latLngToContainerPoint([view.getSouth(), lon]);
      net.rect(x, 0, 0, size.y);
      pen.fillText(name(lon, "EW"), x + 3, size.y - 9);
    }
    for (let lat = Math.ceil(view.getSouth() / step) * step; lat < view.getNorth(); lat += step) {
      const { y } = map.latLngToContainerPoint([lat, view.getWest()]);
      net.rect(0, y, size.x, 0);
      if (y < size.y - 50 && y > 90) pen.fillText(name(lat, "NS"), 3, y - 7);
    }
    paint(net, null, "#c3c8cd", .6);
    Object.assign(pen, { textAlign: "center", fillStyle: "#6b7279", font: "600 15px sans-serif" });
    const taken = cells.map(({ x, y, r }) => ({ x, y, wide: 2 * r, tall: 2 * r }));
    for (const [lat, lon, text] of ground.labels) {
      const { x, y } = map.latLngToContainerPoint([lat / 1e3, lon / 1e3]);
      const label = { x, y, wide: pen.measureText(text).width + 6, tall: 18 };
      if (x < 0 || y < 0 || x > size.x || y > size.y || taken.some(other =>
        Math.abs(other.x - x) < (other.wide + label.wide) / 2
        && Math.abs(other.y - y) < (other.tall + label.tall) / 2)) continue;
      pen.fillText(text, x, y);
      taken.push(label);
    }
  }

  /* Homes in sight by hexagon; `step` is the distance between opposite sides, in pixels. */
  function gather(step) {
    const found = new Map(), tall = step * Math.sqrt(3), middle = from.add(size.divideBy(2));
    for (let h = 0; h < homes.n; h++) {
      if (worst[h] < 0 || !world[h]) continue;
      const x = world[h].x * scale, y = world[h].y * scale;
      if (Math.abs(x - middle.x) > size.x / 2 + step || Math.abs(y - middle.y) > size.y / 2 + step)
        continue;
      // Middles of hexagons are two nets of rectangles, one moved by half: the nearer one counts.
      const net = half => [Math.round(x / step - half) + half, Math.round(y / tall - half) + half];
      const off = ([i, j]) => (i * step - x) ** 2 + (j * tall - y) ** 2;
      const a = net(0), b = net(.5), [i, j] = off(a) < off(b) ? a : b, key = (i * 2 ** 26 + j) * 2;
      if (!found.has(key)) found.set(key, { i, j, x: 0, y: 0, of: [0, 0, 0], homes: [] });
      const cell = found.get(key);
      cell.x += x; cell.y += y; cell.of[worst[h]]++; cell.homes.push(h);
    }
    const sorted = [...found.values()].sort((a, b) => b.homes.length - a.homes.length);
    const most = Math.log1p(Math.max(100, sorted[0]?.homes.length ?? 0));
    return sorted.map(({ i, j, x, y, ...cell }) => {
      const n = cell.homes.length, mean = L.point(x / n, y / n), hexagon = L.point(i * step, j * tall);
      const r = n === 1 ? 7 : step < WIDE ? 12.5 : 14 + 15 * Math.log1p(n) / most;
      // So far inside its hexagon that no two rings can touch.
      const inside = n === 1 ? 1 : Math.min(1, (step / 2 - r) / (mean.distanceTo(hexagon) || 1));
      const at = hexagon.add(mean.subtract(hexagon).multiplyBy(inside)).subtract(from);
      return { ...cell, n, r, x: at.x, y: at.y };
    });
  }

  function draw() {
    const sharp = window.devicePixelRatio || 1;
    size = map.getSize(); from = map.getPixelBounds().min; scale = 2 ** map.getZoom();
    L.DomUtil.setPosition(canvas, map.containerPointToLayerPoint([0, 0]));
    Object.assign(canvas, { width: size.x * sharp, height: size.y * sharp });
    Object.assign(canvas.style, { width: `${size.x}px`, height: `${size.y}px` });
    pen.setTransform(sharp, 0, 0, sharp, 0, 0);
    pen.textBaseline = "middle";
    cells = gather(WIDE);
    if (cells.reduce((sum, cell) => sum + cell.n, 0) <= FEW) cells = gather(NARROW);
    drawGround();
    pen.font = "12px sans-serif";
    for (const cell of cells) (cell.n > 1 ? drawRing : drawMark)(cell);
    if (world[chosen]) {
      const ring = disc(...placeOf(chosen), 13);
      paint(ring, null, "#fff", 6);
      paint(ring, null, INK, 3);
    }
    if (box.matches(":focus-visible"))
      said.textContent = words(nearest(size.divideBy(2), REACH)) || "No home at the cross.";
  }

  /* What lies at a point, in words, and taken */
  const placeOf = h => [world[h].x * scale - from.x, world[h].y * scale - from.y];
  function nearest(point, reach) {
    const far = cell => Math.hypot(cell.x - point.x, cell.y - point.y);
    return cells.filter(cell => far(cell) <= Math.max(reach, cell.r))
      .sort((a, b) => far(a) - far(b))[0];
  }
  function words(cell) {
    if (!cell) return "";
    if (cell.n === 1) return `${homes.id[cell.homes[0]]}: ${looks[worst[cell.homes[0]]].title}`;
    const shares = looks.map((look, q) => `${look.title} ${share(cell.of[q], cell.n)}`);
    return `${count(cell.n)} homes: ${shares.join(", ")}`;
  }
  function take(cell) {
    if (!cell) return;
    const nearestZoom = map.getMaxZoom(), first = world[cell.homes[0]];
    const apart = cell.homes.some(h => first.distanceTo(world[h]) * 2 ** nearestZoom > 16);
    if (apart && map.getZoom() < nearestZoom)
      map.setView(map.containerPointToLatLng([cell.x, cell.y]), map.getZoom() + 2);
    else onPick(cell.homes);
  }
  function print(on) { // A sheet of paper shows the same ground in another size.
    if (on) seen = { middle: map.getCenter(), zoom: map.getZoom(), bounds: map.getBounds() };
    box.classList.toggle("printed", on);
    map.invalidateSize({ animate: false, pan: false });
    if (on) map.fitBounds(seen.bounds, STILL); else map.setView(seen.middle, seen.zoom, STILL);
  }

  map.on("moveend", draw);
  map.on("resize", () => { if (untouched) fit(); draw(); });
  for (const name of ["pointerdown", "wheel", "keydown"])
    box.addEventListener(name, () => { untouched = false; }, { capture: true, passive: true });
  map.on("click", event => take(nearest(event.containerPoint, 9)));
  map.on("mouseout", () => tip.remove());
  map.on("mousemove", event => {
    const cell = nearest(event.containerPoint, 9), text = document.createElement("span");
    text.textContent = words(cell);
    if (!cell) tip.remove();
    else tip.setLatLng(map.containerPointToLatLng([cell.x, cell.y])).setContent(text).addTo(map);
  });
  box.addEventListener("focus", draw);
  box.addEventListener("blur", draw);
  box.addEventListener("keydown", event => {
    if (event.key === "Enter" && event.target === box) take(nearest(size.divideBy(2), REACH));
  });
  window.addEventListener("beforeprint", () => print(true));
  window.addEventListener("afterprint", () => print(false));
  return {
    fit,
    show(queues) { worst = queues; tip.remove(); draw(); },
    choose(home) {
      chosen = home;
      if (places[home] && !map.getBounds().contains(places[home])) map.panTo(places[home], STILL);
      draw();
    },
    at: placeOf,
    drawn: () => cells.reduce((sum, cell) => cell.of.map((n, q) => n + sum[q]), [0, 0, 0]),
  };
}
