"""Everything the maker is shown: pictures, maps, reports, 3-D views, tables of scores."""
