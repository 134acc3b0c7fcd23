"use strict";
// Keeps an open page up to date, and says so when it cannot.
(() => {
  const body = document.body;
  const live = document.getElementById("live");
  const now = document.getElementById("now");
  const silent = document.getElementById("silent");
  const follow = body.dataset.follow;
  const late = 3500; // ms without a beat until values count as old
  const dead = 8000; // ms without a beat until a connection counts as lost, though nobody said so
  let heard = performance.now(), tried = 0, loaded = now ? now.textContent : "", source = null, retry = 1000;

  for (const button of document.querySelectorAll("[data-print]")) {
    button.hidden = false;
    button.addEventListener("click", () => window.print());
  }
  if (!follow || !window.EventSource) return;

  // replace puts new content into an element. What a person opened stays open,
  // and what a person is typing in is left alone until they are done.
  const waiting = new Map();
  function replace(id, html) {
    const element = document.getElementById(id);
    if (!element) return;
    const focus = document.activeElement;
    if (focus && focus !== element && element.contains(focus) && focus.matches("input, select, textarea, button, summary, a")) {
      waiting.set(id, html);
      return;
    }
    waiting.delete(id);
    const open = new Map([...element.querySelectorAll("details")].map((d) => [d.dataset.key, d.open]));
    element.innerHTML = html;
    for (const d of element.querySelectorAll("details")) {
      if (open.has(d.dataset.key)) d.open = open.get(d.dataset.key);
    }
  }
  document.addEventListener("focusout", () => setTimeout(() => {
    for (const [id, html] of [...waiting]) replace(id, html);
  }, 50));

  function reorder(ids) {
    const list = document.getElementById("order");
    if (!list || list.contains(document.activeElement)) return;
    for (const id of ids) {
      const item = document.getElementById(id);
      if (item) list.append(item);
    }
  }

  function fresh() {
    heard = performance.now();
    tried = 0;
    if (!live.classList.contains("on")) {
      live.classList.add("on");
      live.textContent = "live";
      silent.hidden = true;
      document.documentElement.classList.remove("stale");
    }
  }

  function check() {
    const old = performance.now() - heard;
    if (old < late) return;
    if (live.classList.contains("on") || live.textContent !== "not live") {
      live.classList.remove("on");
      live.textContent = "not live";
      document.documentElement.classList.add("stale");
      silent.hidden = false;
    }
    if (old - tried > dead) {
      tried = old;
      source.close();
      connect();
    }
    silent.textContent = "Not live: what you see is from " + loaded + ", " + Math.round(old / 1000) + " s ago. Trying to reach the agent.";
  }

  function connect() {
    source = new EventSource("/events?at=" + encodeURIComponent(follow));
    source.addEventListener("edition", (e) => {
      retry = 1000;
      if (e.data !== body.dataset.edition) location.reload();
    });
    source.addEventListener("news", (e) => {
      const news = JSON.parse(e.data);
      for (const [id, html] of Object.entries(news.parts || {})) replace(id, html);
      if (news.order) reorder(news.order);
      loaded = now.textContent = news.at;
      fresh();
      document.dispatchEvent(new Event("news"));
    });
    const mine = source;
    source.onerror = () => {
      mine.close();
      setTimeout(() => { if (source === mine) connect(); }, retry);
      retry = Math.min(retry * 1.5, 10000);
    };
  }
  connect();
  setInterval(check, 500);
  window.addEventListener("pagehide", () => source.close());
  window.addEventListener("pageshow", (e) => { if (e.persisted) location.reload(); });
})();
