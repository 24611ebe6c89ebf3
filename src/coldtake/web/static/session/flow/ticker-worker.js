// @ts-check
// Ticks four times a second, and at the next deadline it was told of (in: {inMs}). A worker's timer
// keeps going while the tab is hidden; nothing is counted here: the page compares deadlines with the
// time of day.
let timer = 0;
setInterval(() => self.postMessage(null), 250);
self.onmessage = ({ data }) => {
  clearTimeout(timer);
  timer = setTimeout(() => self.postMessage(null), Math.max(0, data.inMs));
};
