"""The pages. `create_app(services)` is the whole interface.

Comes in: requests that passed `security` and, from other devices, `sharing.gate`.
Begin with: `app`, then any module of `pages`; scripts are in `static/`.
"""
