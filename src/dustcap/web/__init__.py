"""Pages: words of a form in, one `job` call, a documented context out.

Rests on `job`, `report`, `demo` and `bench`.
"""
