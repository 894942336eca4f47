export function Library() {
  return <h1>library</h1>;
}
