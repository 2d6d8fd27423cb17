"use strict";
(function () {
  const data = JSON.parse(document.getElementById("play-data").textContent);
  const slider = document.getElementById("play-time");
  const clock = document.getElementById("play-clock");
  const stage = document.getElementById("play-stage");
  const rows = document.getElementById("play-rows");
  const button = document.getElementById("play-button");
  const SVG = "http://www.w3.org/2000/svg";
  let timer = null;

  function two(n) { return String(n).padStart(2, "0"); }
  function label(step) {
    const s = Math.floor(data.start + step * data.step);
    return two(Math.floor(s / 3600) % 24) + ":" + two(Math.floor(s / 60) % 60) + ":" + two(s % 60) + " UTC";
  }
  function place(range, bearing) {
    const a = bearing * Math.PI / 1800, r = range / 100 * data.scale;
    return [data.middle + r * Math.sin(a), data.middle - r * Math.cos(a)];
  }
  function shape(kind, attributes, text) {
    const one = document.createElementNS(SVG, kind);
    for (const name in attributes) { one.setAttribute(name, attributes[name]); }
    if (text) { one.textContent = text; }
    stage.appendChild(one);
  }
  function show(step) {
    stage.textContent = "";
    const said = [];
    if (data.heading[step] !== null) {
      const end = place(data.radius * 100, data.heading[step]);
      shape("line", { x1: data.middle, y1: data.middle, x2: end[0], y2: end[1], class: "line" });
    }
    for (const target of data.targets) {
      let trail = [];
      for (let back = Math.max(0, step - data.trail); back <= step + 1; back += 1) {
        if (back <= step && target.r[back] !== null) {
          trail.push(place(target.r[back], target.b[back]).join(","));
          continue;
        }
        if (trail.length > 1) { shape("polyline", { points: trail.join(" "), class: "ours" }); }
        trail = [];
      }
      if (target.r[step] === null) { continue; }
      const at = place(target.r[step], target.b[step]);
      shape("circle", { cx: at[0], cy: at[1], r: 4, class: "ours-dot" });
      shape("text", { x: at[0] + 7, y: at[1] + 4 }, target.name);
      said.push([target.name, String(Math.round(target.b[step] / 10) % 360).padStart(3, "0") + "°T",
        (target.r[step] / 100).toFixed(2) + " NM", target.a[step] + " s before"]);
    }
    clock.textContent = label(step);
    slider.setAttribute("aria-valuetext", label(step));
    rows.textContent = "";
    for (const cells of said) {
      const row = rows.insertRow();
      for (const text of cells) { row.insertCell().textContent = text; }
    }
  }
  function stop() { clearInterval(timer); timer = null; button.textContent = "Play"; }
  function play() {
    if (timer !== null) { stop(); return; }
    if (Number(slider.value) >= Number(slider.max)) { slider.value = 0; }
    button.textContent = "Stop";
    timer = setInterval(function () {
      if (Number(slider.value) >= Number(slider.max)) { stop(); return; }
      slider.value = Number(slider.value) + 1;
      show(Number(slider.value));
    }, 120);
  }
  window.addEventListener("beforeprint", function () {
    for (const list of document.querySelectorAll("details")) { list.open = true; }
  });
  slider.addEventListener("input", function () { show(Number(slider.value)); });
  button.addEventListener("click", play);
  show(Number(slider.value));
}());
