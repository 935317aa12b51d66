// Runs in every page before it is loaded: notes, frame by frame, when what a reader waits for stands there.
// Times are milliseconds since navigation. first: answer and first figure visible. whole: script at rest, charts drawn.
// chosen: a filter was picked; answered, rested: the same two for what was drawn after it.
(() => {
  const FIGURE = ".gp-card, [data-testid=stVegaLiteChart] svg, [data-testid=stVegaLiteChart] canvas, " +
    "table.gp-list, [data-testid=stDataFrame], [data-testid=stMain] [data-testid=stFileUploader]";
  const watch = (window.goodpullWatch = {first: null, whole: null, chosen: null, answered: null, rested: null});
  let state = "", hasRun = false, hasFaded = false, answeredFirst = null;

  const isVisible = (one) => one.getClientRects().length > 0 && one.getBoundingClientRect().height > 0;
  const isNew = (one) => !one.closest("[data-stale=true]");
  const found = (selector) => [...document.querySelectorAll(selector)].filter(isVisible);
  // A section filled in later marks itself; the figure counted as first is one that says something.
  const answers = () => found(".st-key-answer [data-testid=stMarkdown]");
  const figures = () => found(FIGURE).filter((one) => !one.closest(".gp-waiting"));
  const isDrawn = () =>
    state === "notRunning" &&
    found("h1").length > 0 &&
    !document.querySelector("[data-testid=stSkeleton]") &&
    !document.querySelector(".gp-waiting") &&
    [...document.querySelectorAll("[data-testid=stVegaLiteChart]")].every((one) => one.querySelector("svg, canvas"));

  const noteState = () => {
    const app = document.querySelector("[data-testid=stApp]");
    state = app ? app.getAttribute("data-test-script-state") : "";
    if (watch.chosen !== null && state === "running") hasRun = true;
  };
  const everyFrame = () => {
    noteState();
    const now = performance.now();
    if (watch.first === null && answers().some(isNew)) {
      answeredFirst ??= now;
      if (figures().some(isNew)) watch.first = now;
    }
    if (watch.whole === null && isDrawn()) watch.whole = now;
    // A page of words only: its answer is all it has to show.
    if (watch.whole !== null && watch.first === null) watch.first = answeredFirst;
    if (hasRun && watch.rested === null) {
      hasFaded ||= answers().some((one) => !isNew(one));
      if (watch.answered === null && hasFaded && answers().some(isNew) && figures().some(isNew)) watch.answered = now;
      if (isDrawn()) watch.rested = now;
      if (watch.rested !== null && watch.answered === null) watch.answered = now;
    }
    requestAnimationFrame(everyFrame);
  };
  const noteChoice = (event) => {
    if (!event.target.closest("[role=option]")) return;
    Object.assign(watch, {chosen: performance.now(), answered: null, rested: null});
    hasRun = hasFaded = false;
  };
  document.addEventListener("click", noteChoice, true);
  // A run shorter than a frame is seen too.
  new MutationObserver(noteState).observe(document, {
    subtree: true, childList: true, attributes: true, attributeFilter: ["data-test-script-state"],
  });
  requestAnimationFrame(everyFrame);
})();
