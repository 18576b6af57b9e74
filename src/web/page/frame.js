// A sheet or report of the server, shown in a frame and printed as the page that it is.

import { h } from "./dom.js";

/**
 * A frame is printed only as far as it is seen, so what stands in it is printed by itself, by the
 * button and by the keys for printing.
 * @returns {{element: HTMLElement, print: () => void, leave: () => void}}
 */
export function framed(title, src) {
  const element = h("iframe", { class: "report", title, src });
  const print = () => element.contentWindow.print();
  const keys = (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.shiftKey || event.altKey || event.key.toLowerCase() !== "p") return;
    event.preventDefault();
    print();
  };
  // Keys that are pressed within the frame are told there alone.
  element.addEventListener("load", () => element.contentWindow.addEventListener("keydown", keys));
  addEventListener("keydown", keys);
  return { element, print, leave: () => removeEventListener("keydown", keys) };
}
