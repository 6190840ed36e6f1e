"""Tools for developers: pictures, previews and checks. Not part of the product."""
