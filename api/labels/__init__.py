"""Labels and traveller cards, rendered and read back: addresses in, SVG, PNG and PDF bytes out.

Every symbol is decoded from the finished bytes before they are returned.  No routes here, no clock, no store.
"""
