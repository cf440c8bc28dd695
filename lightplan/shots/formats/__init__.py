"""File formats of photographs: to linear light, with profile and EXIF."""
