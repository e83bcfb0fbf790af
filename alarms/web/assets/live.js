// Keeps an open page fresh: listens for changes, fetches the page again and
// swaps the sections that differ. Without script the page stays readable.
"use strict";
(() => {
  const quietMS = 25000, agesMS = 60000, pauseMS = 250;
  const live = document.getElementById("live"), asof = document.getElementById("asof");
  let version = document.body.dataset.version, wanted = version;
  let heard = Date.now(), fetched = Date.now(), busy = false, missed = false, out = false, lost = false, kept = false, source;

  const clock = (t) => new Date(t).toISOString().slice(11, 19) + " UTC";
  const say = (text, stale) => {
    if (live.textContent !== text) live.textContent = text;
    document.body.classList.toggle("stale", stale);
  };
  const judge = () => {
    if (out) say("Not live: you are signed out. Reload this page to sign in; what you see may be out of date.", true);
    else if (lost || Date.now() - heard > quietMS) say("Not live: no word from the daemon since " + clock(heard) + ". What you see may be out of date.", true);
    else if (missed) say("Not live: the page could not be fetched again. What you see may be out of date.", true);
    else if (kept) say("Live, but the part you are writing in waits: something in it has changed.", false);
    else say("Live.", false);
  };
  const writing = (part) => [...part.querySelectorAll("input, textarea, select")].some((f) =>
    f.type === "checkbox" ? f.checked !== f.defaultChecked :
      f.tagName === "SELECT" ? f === document.activeElement :
        f.type !== "hidden" && f.value !== f.defaultValue);

  // blend makes old like now and touches only what differs, so that focus,
  // selection and half-written notes stay.
  const blend = (old, now) => {
    if (old.isEqualNode(now)) return;
    if (old.nodeType === Node.TEXT_NODE && now.nodeType === Node.TEXT_NODE) {
      old.data = now.data;
      return;
    }
    const fits = old.nodeName === now.nodeName && old.id === now.id && old.childNodes.length === now.childNodes.length;
    if (old.nodeType === Node.ELEMENT_NODE && (old.nodeName === "FORM" || !fits) && writing(old)) {
      kept = true;
      return;
    }
    if (!fits) {
      old.replaceWith(now.cloneNode(true));
      return;
    }
    for (const { name } of [...old.attributes]) if (!now.hasAttribute(name)) old.removeAttribute(name);
    for (const { name, value } of now.attributes) if (old.getAttribute(name) !== value) old.setAttribute(name, value);
    const fresh = [...now.childNodes];
    [...old.childNodes].forEach((child, i) => blend(child, fresh[i]));
  };
  const swap = (page) => {
    const focus = document.activeElement, id = focus?.id, href = focus?.getAttribute("href");
    kept = false;
    blend(document.getElementById("main"), page.getElementById("main"));
    if (!focus?.isConnected) {
      const again = id ? document.getElementById(id) : href && document.querySelector(`#main a[href="${CSS.escape(href)}"]`);
      again?.focus({ preventScroll: true });
    }
    document.title = page.title;
    asof.textContent = page.getElementById("asof").textContent;
  };
  const refresh = async () => {
    if (busy || document.hidden) return;
    busy = true;
    try {
      const goal = wanted;
      const answer = await fetch(location.href, { headers: { Accept: "text/html", "Lightwell-Part": "main" }, cache: "no-store" });
      out = answer.status === 401;
      if (!answer.ok) throw new Error("status " + answer.status);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      swap(page);
      version = (answer.headers.get("ETag") || goal).replaceAll('"', "");
      if (wanted === goal) wanted = version;
      missed = false;
    } catch {
      missed = true;
    }
    fetched = Date.now();
    judge();
    setTimeout(() => {
      busy = false;
      if (version !== wanted && !missed) refresh();
    }, pauseMS);
  };

  const note = (event) => {
    heard = Date.now();
    lost = false;
    wanted = event.lastEventId || wanted;
    judge();
    if (wanted !== version) refresh();
  };
  const listen = () => {
    source?.close();
    source = new EventSource("/api/v1/changes?page=" + encodeURIComponent(location.pathname + location.search));
    source.addEventListener("changed", note);
    source.addEventListener("beat", note);
    source.addEventListener("error", () => {
      lost = true;
      judge();
      if (source.readyState === EventSource.CLOSED) refresh(); // refused: learn why
    });
  };
  listen();
  // A browser keeps few connections to one server, so a hidden page gives its
  // own up and takes a new one when it is looked at again.
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) source.close();
    else listen();
  });
  setInterval(() => {
    if (document.hidden) return;
    if (source.readyState === EventSource.CLOSED) listen();
    judge();
    if (missed || Date.now() - fetched > agesMS) refresh();
  }, 5000);
})();
