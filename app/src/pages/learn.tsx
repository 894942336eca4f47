export function Learn() {
  return <h1>learn</h1>;
}
