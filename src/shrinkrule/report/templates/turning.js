(function () {
  "use strict";
  var data = document.getElementById("turning-data"), box = document.getElementById("turning");
  if (!data || !box || typeof THREE === "undefined") { return; }
  var part = JSON.parse(data.textContent), view = document.getElementById("turning-view"), renderer;
  function bytes(text) {
    var raw = atob(text), out = new Uint8Array(raw.length), i;
    for (i = 0; i < raw.length; i++) { out[i] = raw.charCodeAt(i); }
    return out.buffer;
  }
  var probe = document.createElement("canvas");
  if (!probe.getContext("webgl2") && !probe.getContext("webgl")) { return; }
  try { renderer = new THREE.WebGLRenderer({ antialias: true, preserveDrawingBuffer: true }); }
  catch (error) { return; }
  box.hidden = false;
  var points = new Float32Array(bytes(part.points)), facets = new Uint32Array(bytes(part.facets));
  var thickness = new Uint8Array(bytes(part.thickness));
  var moved = part.moved ? new Float32Array(bytes(part.moved)) : null;
  var geometry = new THREE.BufferGeometry(), shown = points.slice();
  geometry.setAttribute("position", new THREE.BufferAttribute(shown, 3));
  geometry.setIndex(new THREE.BufferAttribute(facets, 1));
  var colours = new Float32Array(points.length);
  geometry.setAttribute("color", new THREE.BufferAttribute(colours, 3));
  geometry.computeVertexNormals();
  geometry.computeBoundingSphere();
  var middle = geometry.boundingSphere.center.clone(), radius = geometry.boundingSphere.radius;
  var material = new THREE.MeshLambertMaterial({ vertexColors: true, side: THREE.DoubleSide });
  var scene = new THREE.Scene(), camera = new THREE.PerspectiveCamera(30, 1, radius / 100, radius * 60);
  var light = new THREE.DirectionalLight(0xffffff, 0.55), arrows = new THREE.Group(), mark;
  scene.add(new THREE.Mesh(geometry, material), new THREE.AmbientLight(0xffffff, 0.55), light, arrows);
  mark = new THREE.Mesh(new THREE.SphereGeometry(1, 24, 16),
    new THREE.MeshBasicMaterial({ color: 0x111111, wireframe: true }));
  mark.visible = false;
  scene.add(mark);
  var up = new THREE.Vector3().fromArray(part.up).normalize();
  var side = Math.abs(up.z) > 0.9 ? new THREE.Vector3(1, 0, 0) : new THREE.Vector3(0, 0, 1);
  side.addScaledVector(up, -side.dot(up)).normalize();
  var front = new THREE.Vector3().crossVectors(side, up);
  var target = middle.clone(), turn = -0.9, rise = 0.5, away = radius * 4.4, mode = "thickness";
  function draw() {
    var flat = Math.cos(rise);
    camera.position.copy(target)
      .addScaledVector(side, away * flat * Math.cos(turn))
      .addScaledVector(front, -away * flat * Math.sin(turn))
      .addScaledVector(up, away * Math.sin(rise));
    camera.up.copy(up);
    camera.lookAt(target);
    light.position.copy(camera.position).addScaledVector(up, radius);
    renderer.render(scene, camera);
  }
  function shade() {
    var i, k, size, share, factor = 0;
    arrows.clear();
    if (mode === "sag" && moved) {
      factor = 0.25 * radius / Math.max(part.most, 1e-9) * Number(slider.value) / 100;
    }
    for (i = 0; i < points.length; i += 3) {
      if (mode === "sag" && moved) {
        size = Math.hypot(moved[i], moved[i + 1], moved[i + 2]);
        // A sag far under what matters is pale, however small the largest is.
        share = Math.min(1, size / Math.max(part.most, part.matters));
        colours[i] = 0.93 - 0.48 * share;
        colours[i + 1] = 0.95 - 0.87 * share;
        colours[i + 2] = 0.90 - 0.70 * share;
      } else {
        for (k = 0; k < 3; k++) { colours[i + k] = thickness[i + k] / 255; }
      }
      for (k = 0; k < 3; k++) { shown[i + k] = points[i + k] + (moved ? factor * moved[i + k] : 0); }
    }
    if (factor > 0) {
      var step = 3 * Math.max(1, Math.floor(points.length / 3 / 60));
      for (i = 0; i < points.length; i += step) {
        var way = new THREE.Vector3(moved[i], moved[i + 1], moved[i + 2]), long = way.length();
        if (long > 0.15 * part.most) {
          arrows.add(new THREE.ArrowHelper(way.normalize(),
            new THREE.Vector3(points[i], points[i + 1], points[i + 2]),
            factor * long + 0.02 * radius, 0x1d2226, 0.05 * radius, 0.025 * radius));
        }
      }
    }
    geometry.attributes.position.needsUpdate = geometry.attributes.color.needsUpdate = true;
    geometry.computeVertexNormals();
    document.getElementById("turning-thickness-legend").hidden = mode !== "thickness";
    var legend = document.getElementById("turning-sag-legend");
    if (legend) {
      legend.hidden = mode !== "sag";
      document.getElementById("turning-factor").textContent = factor > 0 ? Math.round(factor) : 1;
    }
    slider.parentElement.hidden = mode !== "sag";
    draw();
  }
  function fit() {
    var wide = view.clientWidth, high = Math.max(240, Math.min(480, Math.round(0.62 * wide)));
    renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
    renderer.setSize(wide, high);
    camera.aspect = wide / high;
    camera.updateProjectionMatrix();
    draw();
  }
  function night() { return window.matchMedia("(prefers-color-scheme: dark)").matches; }
  function paper() { scene.background = new THREE.Color(night() ? 0x20262a : 0xffffff); }
  var slider = document.getElementById("turning-slider"), canvas = renderer.domElement, held = {};
  canvas.tabIndex = 0;
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", "The part; arrow keys turn it, plus and minus come nearer and go away");
  view.appendChild(canvas);
  function nearer(by) { away = Math.max(radius * 0.15, Math.min(radius * 20, away * by)); }
  function tip(by) { rise = Math.max(-1.55, Math.min(1.55, rise + by)); }
  canvas.addEventListener("pointerdown", function (event) {
    canvas.setPointerCapture(event.pointerId);
    held[event.pointerId] = [event.clientX, event.clientY];
  });
  canvas.addEventListener("pointermove", function (event) {
    var last = held[event.pointerId], ids = Object.keys(held), x, y, other, before, after;
    if (!last) { return; }
    x = event.clientX - last[0]; y = event.clientY - last[1];
    if (ids.length === 2) {
      other = held[ids[0] === String(event.pointerId) ? ids[1] : ids[0]];
      before = Math.hypot(last[0] - other[0], last[1] - other[1]);
      after = Math.hypot(event.clientX - other[0], event.clientY - other[1]);
      if (after > 0) { nearer(before / after); }
    } else if (event.shiftKey || event.buttons === 2) {
      var right = new THREE.Vector3().setFromMatrixColumn(camera.matrix, 0);
      var high = new THREE.Vector3().setFromMatrixColumn(camera.matrix, 1);
      target.addScaledVector(right, -x * away / 900).addScaledVector(high, y * away / 900);
    } else { turn -= x / 120; tip(y / 120); }
    held[event.pointerId] = [event.clientX, event.clientY];
    draw();
  });
  ["pointerup", "pointercancel"].forEach(function (name) {
    canvas.addEventListener(name, function (event) { delete held[event.pointerId]; });
  });
  canvas.addEventListener("contextmenu", function (event) { event.preventDefault(); });
  canvas.addEventListener("wheel", function (event) {
    event.preventDefault(); nearer(Math.exp(event.deltaY / 700)); draw();
  }, { passive: false });
  canvas.addEventListener("keydown", function (event) {
    var known = true;
    if (event.key === "ArrowLeft") { turn -= 0.15; } else if (event.key === "ArrowRight") { turn += 0.15; }
    else if (event.key === "ArrowUp") { tip(0.12); } else if (event.key === "ArrowDown") { tip(-0.12); }
    else if (event.key === "+" || event.key === "=") { nearer(0.85); } else if (event.key === "-") { nearer(1.18); }
    else if (event.key === "Home") { home(); } else { known = false; }
    if (known) { event.preventDefault(); draw(); }
  });
  function home() { target.copy(middle); turn = -0.9; rise = 0.5; away = radius * 4.4; mark.visible = false; }
  function fly(text) {
    var goal = new THREE.Vector3().fromArray(text.split(",").map(Number)), outward = goal.clone().sub(middle);
    mark.position.copy(goal); mark.scale.setScalar(Math.max(0.5, 0.03 * radius)); mark.visible = true;
    if (outward.length() > 0.02 * radius) {
      turn = Math.atan2(-outward.dot(front), outward.dot(side));
      rise = Math.max(-1.2, Math.min(1.2, Math.asin(outward.dot(up) / outward.length())));
    }
    target.copy(goal); away = radius * 1.7;
    draw();
    box.scrollIntoView({ block: "nearest" });
  }
  document.querySelectorAll("[data-at]").forEach(function (button) {
    button.hidden = false;
    button.addEventListener("click", function () { fly(button.getAttribute("data-at")); });
  });
  document.querySelectorAll("[data-shading]").forEach(function (button) {
    button.hidden = button.getAttribute("data-shading") === "sag" && !moved;
    button.addEventListener("click", function () {
      mode = button.getAttribute("data-shading");
      document.querySelectorAll("[data-shading]").forEach(function (other) {
        other.setAttribute("aria-pressed", String(other === button));
      });
      shade();
    });
  });
  // Lines and numbers of dimensions lie before the part, however it is turned.
  var lengths = new THREE.Group(), toggle = document.getElementById("turning-dimensions");
  function label(number, at) {
    var sheet = document.createElement("canvas"), pen = sheet.getContext("2d"), sprite;
    sheet.width = sheet.height = 64;
    pen.beginPath(); pen.arc(32, 32, 29, 0, 2 * Math.PI);
    pen.fillStyle = "#ffffff"; pen.fill();
    pen.lineWidth = 3; pen.strokeStyle = "#1e1e1e"; pen.stroke();
    pen.fillStyle = "#1e1e1e"; pen.font = "36px sans-serif";
    pen.textAlign = "center"; pen.textBaseline = "middle"; pen.fillText(String(number), 32, 34);
    sprite = new THREE.Sprite(new THREE.SpriteMaterial(
      { map: new THREE.CanvasTexture(sheet), depthTest: false, sizeAttenuation: false }));
    sprite.position.copy(at); sprite.scale.setScalar(0.032); sprite.renderOrder = 3;
    return sprite;
  }
  (part.dimensions || []).forEach(function (one) {
    var ends = one.points.map(function (end) { return new THREE.Vector3().fromArray(end); });
    var line = new THREE.Line(new THREE.BufferGeometry().setFromPoints(ends.slice(0, 2)),
      new THREE.LineBasicMaterial({ color: night() ? 0xb03a00 : 0x1e1e1e, depthTest: false }));
    line.renderOrder = 2;
    lengths.add(line, label(one.number, ends[2]));
  });
  lengths.visible = false;
  scene.add(lengths);
  toggle.hidden = lengths.children.length === 0;
  toggle.addEventListener("click", function () {
    lengths.visible = !lengths.visible;
    toggle.setAttribute("aria-pressed", String(lengths.visible));
    draw();
  });
  document.getElementById("turning-home").addEventListener("click", function () { home(); draw(); });
  slider.addEventListener("input", shade);
  window.addEventListener("resize", fit);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", function () { paper(); draw(); });
  paper();
  fit();
  shade();
}());
