"""The view in three dimensions on the HTML page: canvas, controls and packed shapes."""

import json
from html import escape

from mirrorprep.handover.figure_text import value_words
from mirrorprep.handover.view import PackedScene, Scene, pack_scene


def view_markup(scene: Scene) -> str:
    """Return the markup of the view with its data; `assets/view.js` brings it to life."""
    packed = pack_scene(scene)
    header = json.dumps(packed.header, separators=(",", ":"), ensure_ascii=False).replace("<", "\\u003c")
    return (
        '<div class="view">'
        '<canvas class="stage" id="view-canvas" data-state="waiting" tabindex="0" role="img" '
        'aria-label="The shapes of this job. Drag or use the arrow keys to turn them."></canvas>'
        '<p class="absent" id="view-absent" hidden>This browser cannot draw in three dimensions (no WebGL). '
        "The pictures below show the same shapes.</p>"
        f'<div class="tools" id="view-tools">{_tools(scene)}</div>'
        "</div>"
        f'<p class="hint">{escape(_hint(packed))}</p>'
        f'<script type="application/json" id="view-header">{header}</script>'
        f'<script type="text/plain" id="view-data">{packed.data}</script>'
    )


def _tools(scene: Scene) -> str:
    slider = (
        '<label for="view-open">open the mould '
        '<input type="range" id="view-open" min="0" max="100" step="1" value="60"></label>'
        if scene.pull_direction is not None and any(body.opens for body in scene.bodies)
        else ""
    )
    names = list(dict.fromkeys(name for body in scene.bodies for name in body.maps))
    options = "".join(f'<option value="{escape(name)}">{escape(name)}</option>' for name in names)
    chooser = (
        f'<label for="view-maps">colour by <select id="view-maps"><option value="">part</option>{options}'
        "</select></label>"
        if names
        else ""
    )
    key = (
        '<span class="key" id="view-key" hidden><span id="view-key-low"></span>'
        '<canvas id="view-key-bar" width="255" height="12"></canvas><span id="view-key-high"></span></span>'
    )
    scale = (
        '<span class="scale"><svg id="view-scale" width="60" height="12" aria-hidden="true">'
        '<rect y="4" width="100%" height="4" fill="currentColor"/></svg>'
        '<span id="view-scale-words"></span></span>'
    )
    reset = '<button type="button" id="view-reset">front view</button>'
    return f'<span id="view-bodies"></span>{slider}{chooser}{key}{reset}{scale}'


def _hint(packed: PackedScene) -> str:
    words = "Drag to turn, wheel to zoom, shift and drag to move; arrow keys and + − do the same."
    shown, full = (value_words(number) for number in (packed.shown_triangles, packed.triangles))
    if packed.shown_triangles < packed.triangles:
        return f"{words} The view shows {shown} of {full} triangles; the files hold all of them."
    return f"{words} The view shows all {full} triangles."
