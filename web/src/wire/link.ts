/** The page's side of the worker: frames in, controls out. */
import type { Control, Frame } from "./frame";
import type { ToPage, ToWorker } from "./worker";

export interface Heard {
  frame(frame: Frame): void;
  open(): void;
  closed(): void;
  refused(why: string): void;
}

export class Link {
  readonly #worker = new Worker(new URL("./worker.ts", import.meta.url), { type: "module" });

  constructor(heard: Heard) {
    this.#worker.onmessage = (event: MessageEvent<ToPage>) => {
      const message = event.data;
      switch (message.what) {
        case "frame":
          heard.frame(message.frame);
          // Acknowledged once taken in, so the helm never runs ahead of a slow screen.
          if (message.frame.kind === "spokes" || message.frame.kind === "reading" || message.frame.kind === "heard") this.#post({ what: "taken", sequence: message.frame.sequence });
          break;
        case "open":
          heard.open();
          break;
        case "closed":
          heard.closed();
          break;
        case "refused":
          heard.refused(message.why);
          break;
      }
    };
  }

  connect(url: string): void {
    this.#post({ what: "connect", url });
  }

  ask(control: Control): void {
    this.#post({ what: "control", control });
  }

  #post(message: ToWorker): void {
    this.#worker.postMessage(message);
  }
}
