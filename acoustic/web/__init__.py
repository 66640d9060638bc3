"""HOW PEOPLE COME IN by browser: a page of this machine, thin over the same public functions.

Reading order: settings, admission, rates, safety, desk, pages, case_pages, layout_values,
layout_fields, layout_typed, layout_look, shipped_layouts, layout_pages, application, server.

No arithmetic here, no address outside the machine, no script or style inside a page. Needs
the extra ``web``; nothing of it is imported before ``acoustic serve`` runs.
"""
