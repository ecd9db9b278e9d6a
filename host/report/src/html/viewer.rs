//! The viewer's script, put together from its parts: zoom into the record and read its values, down to
//! single rows and captured cycles. Without script, and on paper, the pictures of the page stand in
//! its place.
//!
//! The parts share one scope, in this order: `unpack` packed values → numbers · `time` moments and
//! numbers as text · `state` what is in view · `elements` buttons and table · `served` rows asked for
//! from the program, where it serves the page · `pieces` what shows the view · `draw`, `signs`, `pane`
//! the picture · `readout` the values at the cursor · `hands` wheel, fingers, keys. Each is a plain
//! script that can be read, and checked, alone.

/// The script, whole.
pub const SCRIPT: &str = concat!(
    "'use strict';\n(() => {\n",
    "const source = document.getElementById('record-data');\n",
    "const viewer = document.getElementById('viewer');\n",
    "if (!source || !viewer || typeof DecompressionStream === 'undefined') return;\n",
    "const record = JSON.parse(source.textContent);\n",
    "const words = record.words;\n",
    include_str!("viewer/unpack.js"),
    include_str!("viewer/time.js"),
    include_str!("viewer/state.js"),
    include_str!("viewer/elements.js"),
    include_str!("viewer/served.js"),
    include_str!("viewer/pieces.js"),
    include_str!("viewer/draw.js"),
    include_str!("viewer/signs.js"),
    include_str!("viewer/pane.js"),
    include_str!("viewer/readout.js"),
    include_str!("viewer/hands.js"),
    "})();\n"
);
