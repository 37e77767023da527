/** The socket and the decoding, off the thread that draws. Comes back by itself; only ever with the present. */
import { decode, encodeAck, encodeControl, FrameError, type Control, type Frame } from "./frame";

export type ToPage =
  | { readonly what: "frame"; readonly frame: Frame }
  | { readonly what: "open" }
  | { readonly what: "closed" }
  | { readonly what: "refused"; readonly why: string };
export type ToWorker =
  | { readonly what: "connect"; readonly url: string }
  | { readonly what: "taken"; readonly sequence: number }
  | { readonly what: "control"; readonly control: Control };

const FIRST_WAIT_MS = 300;
const LONGEST_WAIT_MS = 3000;
/** The helm speaks every second: this long without a word and the link is dead, whatever TCP believes. */
const SILENT_MS = 4500;

let url = "";
let socket: WebSocket | undefined;
let wait = FIRST_WAIT_MS;
let sequence = 0;
let heardAt = 0;

function post(message: ToPage, transfer: Transferable[] = []): void {
  (self as unknown as DedicatedWorkerGlobalScope).postMessage(message, transfer);
}

function connect(): void {
  const mine = new WebSocket(url);
  socket = mine;
  heardAt = Date.now();
  mine.binaryType = "arraybuffer";
  mine.onopen = () => {
    wait = FIRST_WAIT_MS;
    post({ what: "open" });
  };
  mine.onmessage = (event: MessageEvent<unknown>) => {
    heardAt = Date.now();
    if (!(event.data instanceof ArrayBuffer)) return;
    try {
      const frame = decode(event.data);
      post({ what: "frame", frame }, frame.kind === "spokes" ? [event.data] : []);
    } catch (problem) {
      post({ what: "refused", why: problem instanceof FrameError ? problem.message : String(problem) });
    }
  };
  mine.onclose = () => {
    if (socket !== mine) return;
    socket = undefined;
    post({ what: "closed" });
    setTimeout(connect, wait);
    wait = Math.min(wait * 2, LONGEST_WAIT_MS);
  };
}

setInterval(() => {
  if (socket !== undefined && Date.now() - heardAt > SILENT_MS) socket.close();
}, 1000);

self.onmessage = (event: MessageEvent<ToWorker>) => {
  const message = event.data;
  switch (message.what) {
    case "connect":
      url = message.url;
      connect();
      break;
    case "taken":
      if (socket?.readyState === WebSocket.OPEN) socket.send(encodeAck(message.sequence));
      break;
    case "control":
      sequence += 1;
      if (socket?.readyState === WebSocket.OPEN) socket.send(encodeControl(sequence, message.control));
      break;
  }
};
