"""The pages. `create_app(services)` is the whole interface."""
