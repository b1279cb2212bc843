"""The JSON API: one POST route per verb, reads with GET, and its errors as RFC 9457 has them."""
