// Keeps an open page fresh: listens for changes, fetches the page again and
// swaps the sections that differ. Without script the page stays readable.
"use strict";
(() => {
  const quietMS = 25000, agesMS = 60000, pauseMS = 250;
  const live = document.getElementById("live"), asof = document.getElementById("asof");
  let version = document.body.dataset.version, wanted = version;
  let heard = Date.now(), fetched = Date.now(), busy = false, missed = false, lost = false, source;

  const clock = (t) => new Date(t).toISOString().slice(11, 19) + " UTC";
  const say = (text, stale) => {
    if (live.textContent !== text) live.textContent = text;
    document.body.classList.toggle("stale", stale);
  };
  const judge = () => {
    if (lost || Date.now() - heard > quietMS) say("Not live: no word from the daemon since " + clock(heard) + ". What you see may be out of date.", true);
    else if (missed) say("Not live: the page could not be fetched again. What you see may be out of date.", true);
    else say("Live.", false);
  };
  const writing = (part) => [...part.querySelectorAll("input, textarea, select")].some((f) =>
    f.type === "checkbox" ? f.checked !== f.defaultChecked :
      f.tagName === "SELECT" ? f === document.activeElement :
        f.type !== "hidden" && f.value !== f.defaultValue);

  const swap = (page) => {
    const old = document.getElementById("main"), now = page.getElementById("main");
    const focus = document.activeElement && document.activeElement.id;
    const ids = (m) => [...m.children].map((c) => c.id || c.tagName).join();
    if (ids(old) !== ids(now)) {
      if (writing(old)) return false;
      old.replaceChildren(...now.childNodes);
    } else {
      const fresh = [...now.children];
      for (const [i, part] of [...old.children].entries()) {
        if (!part.isEqualNode(fresh[i]) && !writing(part)) part.replaceWith(fresh[i]);
      }
    }
    if (focus && document.activeElement.id !== focus) document.getElementById(focus)?.focus({ preventScroll: true });
    document.title = page.title;
    asof.textContent = page.getElementById("asof").textContent;
    return true;
  };
  const refresh = async () => {
    if (busy || document.hidden) return;
    busy = true;
    try {
      const goal = wanted;
      const answer = await fetch(location.href, { headers: { Accept: "text/html" }, cache: "no-store" });
      if (!answer.ok) throw new Error("status " + answer.status);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (swap(page)) version = goal;
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
    source = new EventSource("/api/v1/changes");
    source.addEventListener("changed", note);
    source.addEventListener("beat", note);
    source.addEventListener("error", () => { lost = true; judge(); });
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
