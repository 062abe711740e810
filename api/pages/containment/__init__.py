"""The pages of containment: what a suspect touches, cases, their letters and answers, and the register of consignees."""
