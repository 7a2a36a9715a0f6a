"""Write surfaces for tests: bands of a grid, as the stage `seabed` leaves them."""

from drawn import CRS

from wrackline.rasters import Band, write_raster


def write_surface(path, grid, **bands):
    """Write bands in metres, each of the grid's shape, and return the path."""
    told = [Band(name, "m", values) for name, values in bands.items()]
    write_raster(path, told, grid=grid, crs=CRS, vertical_datum="invented")
    return path
