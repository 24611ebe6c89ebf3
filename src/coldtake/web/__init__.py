"""The pages. `create_app(house)` is the whole interface.

Comes in: requests that passed `security` and `sharing.gate`; `bound` gives them their practice.
Begin with: `app` and `routes`, then any module of `pages`; scripts are in `static/`.
"""
