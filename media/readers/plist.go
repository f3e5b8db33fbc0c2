package readers

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// parsePlist reads a property list in XML, the form of Apple's plist(5): a dict
// becomes map[string]any, an array []any, an integer int64, true and false bool. A
// string, date, data or real stays text.
func parsePlist(listing []byte) (any, error) {
	if err := checkLength(listing); err != nil {
		return nil, err
	}
	p := plistReader{xml.NewDecoder(bytes.NewReader(listing))}
	for {
		start, err := p.next()
		if err != nil {
			return nil, fmt.Errorf("expected a property list: %w", err)
		}
		if start != nil && start.Name.Local != "plist" {
			return p.value(*start, 1)
		}
	}
}

type plistReader struct{ *xml.Decoder }

// next is the next element that begins, or nil where one ends first.
func (p plistReader) next() (*xml.StartElement, error) {
	for {
		token, err := p.Token()
		if errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return nil, err
		}
		switch element := token.(type) {
		case xml.StartElement:
			return &element, nil
		case xml.EndElement:
			return nil, nil
		}
	}
}

func (p plistReader) value(start xml.StartElement, depth int) (any, error) {
	if depth > maxDepth {
		return nil, fmt.Errorf("the property list is nested more than %d deep", maxDepth)
	}
	switch start.Name.Local {
	case "dict":
		return p.dict(depth)
	case "array":
		return p.array(depth)
	}
	content, err := p.text()
	if err != nil {
		return nil, err
	}
	switch start.Name.Local {
	case "true", "false":
		return start.Name.Local == "true", nil
	case "integer":
		return strconv.ParseInt(content, 10, 64)
	case "string", "date", "data", "real":
		return content, nil
	}
	return nil, fmt.Errorf("a property list has no element %.40q", start.Name.Local)
}

func (p plistReader) dict(depth int) (map[string]any, error) {
	dict := map[string]any{}
	for {
		start, err := p.next()
		if err != nil || start == nil {
			return dict, err
		}
		if start.Name.Local != "key" {
			return nil, fmt.Errorf("expected a key in a dict, found %.40q", start.Name.Local)
		}
		key, err := p.text()
		if err != nil {
			return nil, err
		}
		if start, err = p.next(); err != nil {
			return nil, err
		}
		if start == nil {
			return nil, fmt.Errorf("the key %.40q has no value", key)
		}
		if dict[key], err = p.value(*start, depth+1); err != nil {
			return nil, err
		}
	}
}

func (p plistReader) array(depth int) ([]any, error) {
	var array []any
	for {
		start, err := p.next()
		if err != nil || start == nil {
			return array, err
		}
		value, err := p.value(*start, depth+1)
		if err != nil {
			return nil, err
		}
		array = append(array, value)
	}
}

// text is the text up to the end of an element, which may hold no others.
func (p plistReader) text() (string, error) {
	var content strings.Builder
	for {
		token, err := p.Token()
		if err != nil {
			return "", err
		}
		switch part := token.(type) {
		case xml.CharData:
			content.Write(part)
		case xml.EndElement:
			return trimmed(content.String()), nil
		case xml.StartElement:
			return "", fmt.Errorf("expected text, found an element %.40q", part.Name.Local)
		}
	}
}
