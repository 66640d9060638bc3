"""HOW PEOPLE COME IN by browser: a page of this machine, thin over the same public functions.

Reading order: settings, plain_words, admission, rates, safety, waiting, sound_sets, strangers,
apart_tasks, work, case_memory, open_streams, desk, pages, uploads, shipped_layouts,
known_layouts, case_view, events, door_pages, address_pages, new_case_pages, case_pages,
clip_pages, sound_pages, finding_pages, layout_values, layout_fields, layout_typed, layout_look,
layout_pages, customer_view, customer_pages, link_pages, mail_pages, application, certificate,
server.

No arithmetic here, no address outside the machine, no script or style inside a page. Needs
the extra ``web``; nothing of it is imported before ``acoustic serve`` runs.
"""
