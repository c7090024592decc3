"""The report of an outing: what it says (document), its pictures, and the writers of HTML and PDF."""
