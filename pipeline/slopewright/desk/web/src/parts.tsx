// Small parts that several pages share.
import type { ComponentChildren } from "preact";
import { useRef } from "preact/hooks";
import { dropped } from "./upload";

export function Drop({ onFiles, children }: { onFiles: (files: File[]) => void; children: ComponentChildren }) {
  const zone = useRef<HTMLDivElement>(null);
  const over = (on: boolean) => zone.current?.classList.toggle("over", on);
  return (
    <div
      ref={zone}
      class="drop"
      onDragOver={(event) => {
        event.preventDefault();
        over(true);
      }}
      onDragLeave={() => over(false)}
      onDrop={async (event) => {
        event.preventDefault();
        over(false);
        if (event.dataTransfer) onFiles(await dropped(event.dataTransfer.items));
      }}
    >
      {children}
      <div class="row">
        <Picker label="Choose files" onFiles={onFiles} />
        <Picker label="Choose a folder" folder onFiles={onFiles} />
      </div>
    </div>
  );
}

function Picker({ label, folder, onFiles }: { label: string; folder?: boolean; onFiles: (files: File[]) => void }) {
  const input = useRef<HTMLInputElement>(null);
  return (
    <>
      <button type="button" onClick={() => input.current?.click()}>
        {label}
      </button>
      <input
        ref={input}
        type="file"
        multiple
        hidden
        aria-label={label}
        {...(folder ? { webkitdirectory: true } : {})}
        data-picker={folder ? "folder" : "files"}
        onChange={(event) => {
          const files = [...(event.currentTarget.files ?? [])].filter((file) => !file.name.startsWith("."));
          event.currentTarget.value = "";
          if (files.length) onFiles(files);
        }}
      />
    </>
  );
}

export function Bar({ share, label }: { share: number | null; label: string }) {
  return share === null ? <progress aria-label={label} /> : <progress aria-label={label} max={1} value={share} />;
}
