"""How pandas keeps text: as Python's own strings. Pandas 3 would keep it in Arrow's arrays of
UTF-8, which refuse what names in files may hold (lone surrogates); pandas 2 keeps it so already.

Imported for this effect by whatever makes tables of files first: it holds for all of a process.
"""

import pandas as pd

pd.set_option("mode.string_storage", "python")
