// The week: the map of its rounds, and stops that are dragged. What a move costs is asked before it is made.
import { showRounds } from "./rounds_map.js";

const week = document.querySelector("[data-week]");
if (week) {
  const map = document.getElementById("map");
  if (map) showRounds(map, document.querySelector("[data-map-day]"), document.querySelector("[data-map-key]"));
  letStopsBeDragged(week, document.getElementById("stop"));
  focusWhatWasLoaded(document.getElementById("stop"));
}

function focusWhatWasLoaded(panel) {
  document.body.addEventListener("htmx:afterSwap", (event) => {
    if (event.detail.target === panel) panel.querySelector("[role=alert], [data-focus]")?.focus();
  });
}

function letStopsBeDragged(root, panel) {
  let stop = null;
  let asked = "";
  let timer = 0;
  const token = document.querySelector("[data-move-token] input").value;

  root.addEventListener("dragstart", (event) => {
    stop = event.target.closest("[data-stop]");
    if (!stop) return;
    asked = "";
    event.dataTransfer.effectAllowed = "move";
    event.dataTransfer.setData("text/plain", stop.dataset.stop);
    stop.classList.add("dragged");
  });
  root.addEventListener("dragend", () => {
    stop?.classList.remove("dragged");
    clearTimeout(timer);
    root.querySelectorAll(".aimed").forEach((cell) => cell.classList.remove("aimed"));
    stop = null;
  });
  root.addEventListener("dragover", (event) => {
    const round = event.target.closest("[data-installer]");
    if (!stop || !round) return;
    event.preventDefault();
    const to = aimOf(round, event.clientY, stop);
    mark(round, to.place);
    const key = JSON.stringify(to);
    if (key === asked) return;
    asked = key;
    clearTimeout(timer);
    const id = stop.dataset.stop;
    timer = setTimeout(() => preview(id, to), 250);
  });
  root.addEventListener("drop", (event) => {
    const round = event.target.closest("[data-installer]");
    if (!stop || !round) return;
    event.preventDefault();
    clearTimeout(timer);
    const to = aimOf(round, event.clientY, stop);
    preview(stop.dataset.stop, to, true);
  });

  function aimOf(round, y, moved) {
    const others = [...round.querySelectorAll("[data-stop]")].filter((row) => row !== moved);
    const before = others.filter((row) => {
      const box = row.getBoundingClientRect();
      return box.top + box.height / 2 < y;
    });
    return { installer: round.dataset.installer, day: round.dataset.day, place: String(before.length + 1) };
  }

  function mark(round, place) {
    root.querySelectorAll(".aimed").forEach((cell) => cell.classList.remove("aimed"));
    round.classList.add("aimed");
    const rows = [...round.querySelectorAll("[data-stop]")].filter((row) => !row.classList.contains("dragged"));
    rows[Number(place) - 1]?.classList.add("aimed");
  }

  // The newest question is the one that is shown, whichever answer comes first.
  let newest = 0;
  async function preview(id, to, isDropped = false) {
    const mine = ++newest;
    panel.setAttribute("aria-busy", "true");
    const answer = await fetch(`/week/stops/${id}/`, {
      method: "POST",
      headers: { "HX-Request": "true", "HX-Target": "stop", "X-CSRFToken": token },
      body: new URLSearchParams({ do: "preview", ...to }),
    });
    const text = await answer.text();
    if (mine !== newest) return;
    panel.removeAttribute("aria-busy");
    window.htmx.swap(panel, text, { swapStyle: "innerHTML" });
    const move = panel.querySelector("#move");
    move?.scrollIntoView({ block: "nearest" });
    if (isDropped) move?.querySelector("button, input")?.focus();
  }
}
