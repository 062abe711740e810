"""Pages for the quality lead: measured values against the limits, charts, what changes when, rulebooks, gauges, sampling.

A page holds a form and works nothing out over balls; the answer has an address of its own.  A script fetches it as a part
of the page (`answering`), and says meanwhile that it is on its way; without scripts that address is the whole page.
What is asked stands in the query alone, so that an address can be kept and sent.
"""
