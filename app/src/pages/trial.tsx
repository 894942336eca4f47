export function Trial() {
  return <h1>trial</h1>;
}
