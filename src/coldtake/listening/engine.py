"""The listener's name and version, in a module of its own that imports nothing heavy."""

ENGINE = "line-5"  # raise the number whenever a verdict may come out otherwise
