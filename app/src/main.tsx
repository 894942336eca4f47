import "./style/look.css"; // first, so that what a page says of its own comes after it
import "./style/chart.css";
import "./style/road_map.css";
import { render } from "preact";
import { House } from "./house/house";

render(<House />, document.getElementById("house")!);
