declare const htmx: { process(element: Element): void };
