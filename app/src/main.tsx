import { render } from "preact";
import { House } from "./house/house";
import "./style/look.css";

render(<House />, document.getElementById("house")!);
