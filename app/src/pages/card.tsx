export function Card() {
  return <h1>card</h1>;
}
