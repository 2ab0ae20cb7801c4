"use strict";
/* Map of the homes: counted rings where they lie close together, single marks where they do not. */

function programmeMap(box, data, said, onPick) {
  const { homes, ground, looks } = data, tau = 2 * Math.PI, INK = "#1c1f23";
  const REACH = 60;  // pixels; an arrow key moves the map by 80, so that the cross can reach every mark
  const x = new Float64Array(homes.n), y = new Float64Array(homes.n), box2 = L.latLngBounds([]);
  for (let h = 0; h < homes.n; h++) {
    if (homes.lat[h] === null) { x[h] = NaN; continue; }
    const at = L.CRS.EPSG3857.latLngToPoint(L.latLng(homes.lat[h] / 1e5, homes.lon[h] / 1e5), 0);
    x[h] = at.x; y[h] = at.y;
    box2.extend([homes.lat[h] / 1e5, homes.lon[h] / 1e5]);
  }
  const rings = ground.rings.map(flat => flat.map((v, i) => {
    const lat = (i % 2 ? v : flat[i + 1]) / 1e3, lon = (i % 2 ? flat[i - 1] : v) / 1e3;
    const at = L.CRS.EPSG3857.latLngToPoint(L.latLng(lat, lon), 0);
    return i % 2 ? at.y : at.x;
  }));
  const map = L.map(box, { zoomAnimation: false, fadeAnimation: false, markerZoomAnimation: false,
    inertia: false, attributionControl: false, minZoom: 2, maxZoom: 18, zoomSnap: 0.5 });
  L.control.scale({ imperial: ground.miles, metric: true }).addTo(map);
  const canvas = L.DomUtil.create("canvas", "", map.getPanes().overlayPane);
  canvas.setAttribute("aria-hidden", "true");
  const pen = canvas.getContext("2d"), tip = L.tooltip({ direction: "top", offset: [0, -8] });
  let worst = new Int8Array(homes.n).fill(-1), chosen = -1, cells = [], untouched = true,
    size, from, scale, kept;

  function hatched() {
    const tile = document.createElement("canvas");
    tile.width = tile.height = 6;
    const line = tile.getContext("2d");
    line.fillStyle = looks[2].fill; line.fillRect(0, 0, 6, 6);
    line.strokeStyle = looks[2].ink; line.lineWidth = 1.2;
    line.beginPath(); line.moveTo(-1, 7); line.lineTo(7, -1); line.stroke();
    return pen.createPattern(tile, "repeat");
  }
  const fills = looks.map((look, q) => q === 2 ? hatched() : look.fill);

  /* Homes in sight by hexagon; `step` is the distance between opposite sides, in pixels. */
  function gather(step) {
    const found = new Map(), tall = step * Math.sqrt(3) / 2;
    for (let h = 0; h < homes.n; h++) {
      if (worst[h] < 0 || x[h] !== x[h]) continue;
      const px = x[h] * scale, py = y[h] * scale;
      if (px < from.x - step || px > from.x + size.x + step || py < from.y - step
        || py > from.y + size.y + step) continue;
      const r0 = py / tall, q0 = px / step - r0 / 2, s0 = -q0 - r0;
      let q = Math.round(q0), r = Math.round(r0);
      const s = Math.round(s0), dq = Math.abs(q - q0), dr = Math.abs(r - r0);
      if (dq > dr && dq > Math.abs(s - s0)) q = -r - s;
      else if (dr > Math.abs(s - s0)) r = -q - s;
      const key = q * 2 ** 26 + r;
      let cell = found.get(key);
      if (!cell) found.set(key, cell = { x: 0, y: 0, of: [0, 0, 0], homes: [] });
      cell.x += px; cell.y += py; cell.of[worst[h]]++; cell.homes.push(h);
    }
    return [...found].map(([key, cell]) => {
      const n = cell.homes.length, r = key - Math.round(key / 2 ** 26) * 2 ** 26;
      const q = Math.round(key / 2 ** 26);
      return { of: cell.of, homes: cell.homes, n, x: cell.x / n - from.x, y: cell.y / n - from.y,
        middle: [step * (q + r / 2) - from.x, tall * r - from.y] };
    });
  }

  function ringOf(cell) {
    let turn = -tau / 4;
    for (let q = 0; q < 3; q++) {
      if (!cell.of[q]) continue;
      const to = turn + tau * cell.of[q] / cell.n;
      pen.beginPath(); pen.moveTo(cell.x, cell.y); pen.arc(cell.x, cell.y, cell.r, turn, to);
      pen.closePath(); pen.fillStyle = fills[q]; pen.fill();
      if (cell.of[q] < cell.n) { pen.strokeStyle = "#fff"; pen.lineWidth = 1; pen.stroke(); }
      turn = to;
    }
    pen.beginPath(); pen.arc(cell.x, cell.y, cell.r, 0, tau);
    pen.strokeStyle = INK; pen.lineWidth = 1; pen.stroke();
    pen.beginPath(); pen.arc(cell.x, cell.y, cell.r * .64, 0, tau);
    pen.fillStyle = "#fff"; pen.fill(); pen.stroke();
    pen.fillStyle = INK;
    const text = cell.n < 1000 ? String(cell.n) : (cell.n / 1000).toFixed(cell.n < 9950 ? 1 : 0) + "k";
    pen.fillText(text, cell.x, cell.y + 1);
  }

  function markOf(cell) {
    const q = worst[cell.homes[0]], { x: a, y: b } = cell;
    pen.beginPath();
    if (q === 0) pen.arc(a, b, 6, 0, tau);
    else if (q === 2) pen.rect(a - 5.5, b - 5.5, 11, 11);
    else { pen.moveTo(a - 7, b - 5.5); pen.lineTo(a + 7, b - 5.5); pen.lineTo(a, b + 7); }
    pen.closePath(); pen.fillStyle = fills[q]; pen.fill();
    pen.strokeStyle = "#fff"; pen.lineWidth = 3; pen.stroke();
    pen.fill(); pen.strokeStyle = INK; pen.lineWidth = 1; pen.stroke();
  }

  function drawGround() {
    pen.beginPath();
    for (const ring of rings) {
      for (let i = 0; i < ring.length; i += 2)
        pen[i ? "lineTo" : "moveTo"](ring[i] * scale - from.x, ring[i + 1] * scale - from.y);
      pen.closePath();
    }
    pen.fillStyle = "#eceff0"; pen.fill("evenodd"); pen.strokeStyle = "#858d94"; pen.lineWidth = 1;
    pen.stroke();
    const view = map.getBounds(), span = view.getEast() - view.getWest();
    const power = 10 ** Math.floor(Math.log10(span / 4));
    const step = power * [5, 2, 1].find(k => k * power <= span / 4);
    pen.strokeStyle = "#c3c8cd"; pen.lineWidth = .6; pen.fillStyle = "#4a5057";
    const near = v => Math.round(v * 1e4) / 1e4;
    pen.textAlign = "left";
    for (let lon = Math.ceil(view.getWest() / step) * step; lon < view.getEast(); lon += step) {
      const px = map.latLngToContainerPoint([view.getSouth(), lon]).x;
      pen.beginPath(); pen.moveTo(px, 0); pen.lineTo(px, size.y); pen.stroke();
      pen.fillText(`${near(Math.abs(lon))}° ${lon < 0 ? "W" : "E"}`, px + 3, size.y - 9);
    }
    for (let lat = Math.ceil(view.getSouth() / step) * step; lat < view.getNorth(); lat += step) {
      const py = map.latLngToContainerPoint([lat, view.getWest()]).y;
      pen.beginPath(); pen.moveTo(0, py); pen.lineTo(size.x, py); pen.stroke();
      if (py < size.y - 50 && py > 90)
        pen.fillText(`${near(Math.abs(lat))}° ${lat < 0 ? "S" : "N"}`, 3, py - 7);
    }
    pen.textAlign = "center";
    pen.font = "600 15px sans-serif"; pen.fillStyle = "#6b7279";
    for (const [lat, lon, text] of ground.labels) {
      const at = map.latLngToContainerPoint([lat / 1e3, lon / 1e3]);
      if (size.contains(at) && at.x > 0 && at.y > 0) pen.fillText(text, at.x, at.y);
    }
  }

  function draw() {
    const sharp = window.devicePixelRatio || 1;
    size = map.getSize(); from = map.getPixelBounds().min; scale = 2 ** map.getZoom();
    L.DomUtil.setPosition(canvas, map.containerPointToLayerPoint([0, 0]));
    canvas.width = size.x * sharp; canvas.height = size.y * sharp;
    canvas.style.width = `${size.x}px`; canvas.style.height = `${size.y}px`;
    pen.setTransform(sharp, 0, 0, sharp, 0, 0);
    pen.textAlign = "center"; pen.textBaseline = "middle"; pen.font = "11px sans-serif";
    drawGround();
    pen.font = "12px sans-serif";
    cells = gather(64);
    const inSight = cells.reduce((sum, cell) => sum + cell.n, 0), few = inSight <= 250;
    const step = few ? 28 : 64;
    if (few) cells = gather(step);
    const most = Math.log1p(Math.max(100, ...cells.map(c => c.n)));
    for (const cell of cells) {
      cell.r = cell.n === 1 ? 7 : few ? 12.5 : 14 + 15 * Math.log1p(cell.n) / most;
      if (cell.n === 1) continue;
      // So far inside its hexagon that no two rings can touch.
      const [cx, cy] = cell.middle, far = Math.hypot(cell.x - cx, cell.y - cy);
      const inside = Math.min(1, Math.max(0, step / 2 - cell.r) / (far || 1));
      cell.x = cx + (cell.x - cx) * inside; cell.y = cy + (cell.y - cy) * inside;
    }
    cells.sort((a, b) => b.n - a.n);
    for (const cell of cells) (cell.n > 1 ? ringOf : markOf)(cell);
    if (chosen >= 0 && x[chosen] === x[chosen]) {
      pen.beginPath(); pen.arc(x[chosen] * scale - from.x, y[chosen] * scale - from.y, 13, 0, tau);
      pen.strokeStyle = "#fff"; pen.lineWidth = 6; pen.stroke();
      pen.strokeStyle = INK; pen.lineWidth = 3; pen.stroke();
    }
    if (box.matches(":focus-visible")) {
      const cx = size.x / 2, cy = size.y / 2;
      pen.beginPath(); pen.moveTo(cx - 14, cy); pen.lineTo(cx + 14, cy);
      pen.moveTo(cx, cy - 14); pen.lineTo(cx, cy + 14);
      pen.strokeStyle = "#fff"; pen.lineWidth = 5; pen.stroke();
      pen.strokeStyle = "#0b4f9e"; pen.lineWidth = 2.5; pen.stroke();
      said.textContent = words(nearest(cx, cy, REACH)) || "No home at the cross.";
    }
  }

  function nearest(px, py, reach) {
    let best = null, least = Infinity;
    for (const cell of cells) {
      const far = Math.hypot(cell.x - px, cell.y - py);
      if (far <= Math.max(reach, cell.r) && far < least) { best = cell; least = far; }
    }
    return best;
  }

  function words(cell) {
    if (!cell) return "";
    if (cell.n === 1) return `${homes.id[cell.homes[0]]}: ${looks[worst[cell.homes[0]]].title}`;
    const shares = looks.map((look, q) => `${look.title} ${data.share(cell.of[q], cell.n)}`);
    return `${data.count(cell.n)} homes: ${shares.join(", ")}`;
  }

  function take(cell) {
    if (!cell) return;
    const first = cell.homes[0], apart = cell.homes.some(h =>
      Math.hypot(x[h] - x[first], y[h] - y[first]) * 2 ** map.getMaxZoom() > 16);
    if (cell.n > 1 && apart && map.getZoom() < map.getMaxZoom())
      map.setView(map.containerPointToLatLng([cell.x, cell.y]), map.getZoom() + 2);
    else onPick(cell.homes);
  }

  function fit() {
    untouched = true;
    if (box2.isValid()) map.fitBounds(box2.pad(.06), { maxZoom: 15, animate: false });
    else map.setView([0, 0], 2);
  }

  map.on("moveend", draw);
  map.on("resize", () => { if (untouched) fit(); draw(); });
  for (const name of ["pointerdown", "wheel", "keydown"])
    box.addEventListener(name, () => { untouched = false; }, { capture: true, passive: true });
  map.on("click", event => take(nearest(event.containerPoint.x, event.containerPoint.y, 9)));
  map.on("mousemove", event => {
    const cell = nearest(event.containerPoint.x, event.containerPoint.y, 9);
    if (!cell) { tip.remove(); return; }
    const text = document.createElement("span");
    text.textContent = words(cell);
    tip.setLatLng(map.containerPointToLatLng([cell.x, cell.y])).setContent(text).addTo(map);
  });
  map.on("mouseout", () => tip.remove());
  box.addEventListener("focus", draw);
  box.addEventListener("blur", draw);
  box.addEventListener("keydown", event => {
    if (event.key === "Enter" && event.target === box) take(nearest(size.x / 2, size.y / 2, REACH));
  });
  /* A sheet of paper shows the same ground in another size. */
  window.addEventListener("beforeprint", () => {
    kept = { at: map.getCenter(), zoom: map.getZoom(), ground: map.getBounds() };
    box.classList.add("printed");
    map.invalidateSize({ animate: false, pan: false });
    map.fitBounds(kept.ground, { animate: false });
  });
  window.addEventListener("afterprint", () => {
    box.classList.remove("printed");
    map.invalidateSize({ animate: false, pan: false });
    map.setView(kept.at, kept.zoom, { animate: false });
  });
  fit();
  return {
    show(queues) { worst = queues; tip.remove(); draw(); },
    choose(home) {
      chosen = home;
      if (home >= 0 && homes.lat[home] !== null) {
        const at = L.latLng(homes.lat[home] / 1e5, homes.lon[home] / 1e5);
        if (!map.getBounds().contains(at)) map.panTo(at, { animate: false });
      }
      draw();
    },
    at: home => [x[home] * scale - from.x, y[home] * scale - from.y],
    drawn: () => cells.reduce((sum, cell) => cell.of.map((n, q) => n + sum[q]), [0, 0, 0]),
    fit,
  };
}
