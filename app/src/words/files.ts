/** Sizes and moments, in the words of whoever reads them. */

/** "3.6 kB", "12 MB". */
export function size(bytes: number): string {
  if (bytes < 1000) return `${bytes} B`;
  const units = ["kB", "MB", "GB"];
  const at = Math.min(Math.floor(Math.log10(bytes) / 3), units.length) - 1;
  const number = bytes / 1000 ** (at + 1);
  return `${number < 10 ? number.toFixed(1) : Math.round(number)} ${units[at]}`;
}

/** "12 Nov, 14:03", with the year where it is another one. */
export function when(moment: string): string {
  const date = new Date(moment);
  const year = date.getFullYear() === new Date().getFullYear() ? {} : { year: "numeric" as const };
  return date.toLocaleString("en-GB", { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", ...year });
}
