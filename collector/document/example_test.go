package document_test

import (
	"fmt"

	"lightwell/collector/document"
)

// All faults of a file come at once.
func ExampleFile_Decode() {
	file, faults := document.Parse("sites.yaml", []byte("sites:\n  - {id: quay, pol: 20s}\n  - {id: mast, poll: fast}\n"))
	if len(faults) > 0 {
		fmt.Println(faults)
		return
	}
	var into struct {
		Sites []struct {
			ID   string            `yaml:"id,required"`
			Poll document.Duration `yaml:"poll"`
		} `yaml:"sites"`
	}
	fmt.Println(file.Decode(&into))
	fmt.Println(file.Fault("$.sites[1].id", "move it", "site %q is full", into.Sites[1].ID))
	// Output:
	// sites.yaml:2:16: sites[0]: unknown key "pol"; did you mean "poll"?
	// sites.yaml:3:22: sites[1].poll: "fast" is not a duration; write a number with its unit, like 30s, 20m or 1h30m
	// sites.yaml:3:10: site "mast" is full; move it
}
