/** The element of the page with this id. */
export function byId<T extends HTMLElement>(id: string): T {
  const found = document.getElementById(id);
  if (!found) throw new Error(`The page has no ${id}`);
  return found as T;
}

type Attributes = Record<string, string | number | boolean>;

/** A new element; `true` sets an attribute without a value, `false` leaves it out. */
export function make<K extends keyof HTMLElementTagNameMap>(
  tag: K,
  attributes: Attributes = {},
  ...children: (Node | string)[]
): HTMLElementTagNameMap[K] {
  return fill(document.createElement(tag), attributes, children);
}

export function makeSvg<K extends keyof SVGElementTagNameMap>(
  tag: K,
  attributes: Attributes = {},
  ...children: (Node | string)[]
): SVGElementTagNameMap[K] {
  return fill(document.createElementNS('http://www.w3.org/2000/svg', tag), attributes, children);
}

function fill<E extends Element>(element: E, attributes: Attributes, children: (Node | string)[]): E {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === true) element.setAttribute(name, '');
    else if (value !== false) element.setAttribute(name, String(value));
  }
  element.append(...children);
  return element;
}

/** Buttons of which one is chosen: arrows go round, as radio buttons do. */
export function choiceGroup<T extends string>(
  holder: HTMLElement,
  choices: readonly { value: T; label: string }[],
  onChoice: (value: T) => void,
): (value: T) => void {
  const buttons = choices.map(({ value, label }) =>
    make('button', { type: 'button', role: 'radio', 'data-value': value }, label),
  );
  const show = (value: T) => {
    buttons.forEach((button, i) => {
      const isChosen = choices[i].value === value;
      button.setAttribute('aria-checked', String(isChosen));
      button.tabIndex = isChosen ? 0 : -1;
    });
  };
  buttons.forEach((button, i) => {
    button.addEventListener('click', () => onChoice(choices[i].value));
    button.addEventListener('keydown', (event) => {
      const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
      if (step === undefined) return;
      event.preventDefault();
      const next = (i + step + choices.length) % choices.length;
      buttons[next].focus();
      onChoice(choices[next].value);
    });
  });
  holder.replaceChildren(...buttons);
  return show;
}
