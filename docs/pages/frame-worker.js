// Browsers start no worker from a folder: there the search's worker runs in a hidden frame of its page.
if (location.protocol === "file:") {
  window.Worker = window.IFrameWorker = class extends EventTarget {
    constructor(address) {
      super();
      this.waiting = [];
      const frame = document.createElement("iframe");
      frame.hidden = true;
      document.body.append(frame);
      this.inside = frame.contentWindow;
      this.inside.postMessage = (data) => this.dispatchEvent(new MessageEvent("message", { data }));
      const script = frame.contentDocument.createElement("script");
      script.src = address;
      script.onload = () => {
        this.ready = true;
        this.waiting.forEach((data) => this.postMessage(data));
      };
      frame.contentDocument.body.append(script);
    }

    postMessage(data) {
      if (this.ready) this.inside.dispatchEvent(new MessageEvent("message", { data }));
      else this.waiting.push(data);
    }

    terminate() {}
  };
}
