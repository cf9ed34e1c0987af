// Which instrument reads what. That is set-up: it stays until another is touched, on every card that it reads for.

import { all } from "./bench-page.js";

const held = (quantity) => `bench-instrument|${quantity}`;

export const instrumentOf = (quantity) => (quantity && localStorage.getItem(held(quantity))) || "";

export function instrumentsOn(card) {
  const quantities = all("[data-instrument]", card).map((each) => each.dataset.quantity).filter(Boolean);
  return [...new Set(quantities.map(instrumentOf).filter(Boolean))];
}

// The one that reads a field of this card, or "" where the card offers none such.
export function readsHere(card, quantity) {
  const instrument = instrumentOf(quantity);
  return instrument && all(`[data-instrument="${CSS.escape(instrument)}"]`, card).length ? instrument : "";
}

export function readWith(touched) {
  const { instrument, quantity } = touched.dataset;
  const quantities = quantity ? [quantity] : all("[data-quantity]", touched.parentElement).map((each) => each.dataset.quantity);
  for (const each of quantities) instrument ? localStorage.setItem(held(each), instrument) : localStorage.removeItem(held(each));
}
