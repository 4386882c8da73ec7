"""The vet sheet: one bird's record on paper, and the links by which a vet may look at it.

``gather`` reads the records once into a ``sheet.VetSheet`` of plain words and figures; the page's
template and ``pdf`` draw that and ask nothing of their own, so that both say the same.
"""
