"""The crew's papers: what is cut, loaded and laid. No money stands in them.

laying     each area with its pieces in laying order and the chalk lines they are laid to
marks      how a line's ends are found with a tape
to_scale   from pile coordinates to millimetres of the page
drawing    an area to scale
wording    which label each piece gets
lettering  each text of a drawing at its place; heads: what stands above one
lots       the lots in the order of work, what each takes, and what that weighs
alike      areas that one drawing serves
views      how areas are placed on the pages of a sheet
steps      how turf is laid
sheets, cut_list, labels, load_list   the data of one paper each
"""
