// Nothing yet needs a script: pages work without one.
"use strict";
