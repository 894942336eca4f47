import { render } from "preact";
import { House } from "./house/house";
import "./style/look.css";
import "./style/chart.css";

render(<House />, document.getElementById("house")!);
