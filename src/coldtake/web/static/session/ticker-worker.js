// @ts-check
// Ticks four times a second. A worker's timer keeps going while the tab is hidden; nothing is
// counted here: the page compares deadlines with the time of day.
setInterval(() => self.postMessage(null), 250);
