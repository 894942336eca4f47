export function Laps() {
  return <h1>laps</h1>;
}
