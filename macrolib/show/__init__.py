"""Pictures and panels: `figures` for plans, `panels` with sliders; `style` and `panel` are what both are made of.

Only this folder draws: physics and plans know nothing of pictures.
"""
