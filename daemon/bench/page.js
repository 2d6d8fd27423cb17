"use strict";
const told = JSON.parse(document.getElementById("cells").textContent);
const ways = JSON.parse(document.getElementById("ways").textContent);
const SVG = "http://www.w3.org/2000/svg";

function place(way, minutes) {
  const at = -60 * minutes;
  for (let k = 1; k < way.length; k++) {
    const [t0, x0, y0] = way[k - 1], [t1, x1, y1] = way[k];
    if (t0 <= at && at <= t1) {
      const share = t1 > t0 ? (at - t0) / (t1 - t0) : 0;
      return [x0 + share * (x1 - x0), y0 + share * (y1 - y0)];
    }
  }
  return null;
}

function show(setting) {
  const cell = told[setting];
  document.getElementById("cell-name").textContent = cell.name;
  document.querySelectorAll(".heat button").forEach((one) =>
    one.setAttribute("aria-pressed", String(one.dataset.setting === String(setting))));
  ways.forEach((one, number) => {
    const figure = document.getElementById("way-" + number);
    const [warned, raised, nuisance] = cell.told[number];
    let text = raised ? raised + (raised === 1 ? " alert" : " alerts") : "no alert";
    if (warned !== null) text += ", " + warned.toFixed(1) + " min before";
    if (one.verdict === "close" && warned === null) text += ": MISSED";
    if (nuisance) text += ", " + nuisance + " for nothing";
    figure.querySelector(".told-here").textContent = text;
    figure.classList.toggle("told", raised > 0);
    const svg = figure.querySelector("svg");
    svg.querySelectorAll(".alerted").forEach((mark) => mark.remove());
    const at = warned === null ? null : place(one.way, warned);
    if (at) {
      const mark = document.createElementNS(SVG, "circle");
      mark.setAttribute("cx", String(at[0]));
      mark.setAttribute("cy", String(at[1]));
      mark.setAttribute("r", "5");
      mark.setAttribute("class", "danger alerted");
      svg.appendChild(mark);
    }
  });
}

document.querySelectorAll(".heat button").forEach((one) =>
  one.addEventListener("click", () => show(Number(one.dataset.setting))));
show(Number(document.body.querySelector("[data-first]").dataset.first));
