"""The name of the listener as it stands, without what it takes to listen."""

ENGINE = "line-3"  # raise the number whenever a verdict may come out otherwise
