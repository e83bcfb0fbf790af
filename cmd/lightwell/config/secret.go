package config

import (
	"fmt"
	"os"
	"strings"

	"lightwell/collector"
)

// secretRef says where a secret is found; a secret never stands in the file.
type secretRef struct {
	File string `yaml:"file"`
	Env  string `yaml:"env"`
}

// maxSecret is far above any password or key.
const maxSecret = 64 << 10

const secretRemedy = "write {file: PATH} or {env: NAME}; a secret never stands in this file"

// secret reads what ref points to; path is where ref stands in the file. A
// nil ref is an empty secret.
func (l *loader) secret(ref *secretRef, path string) collector.Secret {
	if ref == nil {
		return collector.Secret{}
	}
	value, err := l.readSecret(ref)
	if err != nil {
		l.fault(path, secretRemedy, "secret: %v", err)
	}
	return collector.NewSecret(value)
}

func (l *loader) readSecret(ref *secretRef) (string, error) {
	switch {
	case (ref.File == "") == (ref.Env == ""):
		return "", fmt.Errorf("needs either file or env")
	case ref.Env != "":
		if v := l.getenv(ref.Env); v != "" {
			return v, nil
		}
		return "", fmt.Errorf("environment variable %s is empty or not set", ref.Env)
	}
	info, err := os.Stat(l.path(ref.File))
	if err != nil {
		return "", err
	}
	if info.Size() > maxSecret {
		return "", fmt.Errorf("%s is larger than any secret", ref.File)
	}
	data, err := os.ReadFile(l.path(ref.File))
	if err != nil {
		return "", err
	}
	v := strings.TrimRight(string(data), "\r\n")
	if v == "" {
		return "", fmt.Errorf("%s is empty", ref.File)
	}
	return v, nil
}
