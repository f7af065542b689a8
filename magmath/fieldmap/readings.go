package fieldmap

// Readings are what the map was made from. They are not a copy: do not change
// them.
func (m *Map) Readings() Data { return m.data }
