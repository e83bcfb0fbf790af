package demo

import (
	"crypto/rand"

	"lightwell/alarms/notify"
	"lightwell/collector"
	"lightwell/collector/plant/agent"
	"lightwell/collector/snmp"
)

// Names of the credentials in the demo's fleet file.
const (
	credentialsV2 = "demo-v2c"
	credentialsV3 = "demo-v3"
	userV3        = "lightwell"
)

// access is who may ask the units, and the key of the webhooks.
type access struct {
	community, auth, privacy, webhook collector.Secret
}

func newAccess() access {
	return access{random(), random(), random(), notify.GenerateSecret()}
}

func random() collector.Secret { return collector.NewSecret(rand.Text()) }

func (a access) communities() []collector.Secret { return []collector.Secret{a.community} }

func (a access) users() []agent.User {
	return []agent.User{{Name: userV3, Auth: "sha256", AuthPassword: a.auth, Privacy: "aes128", PrivacyPassword: a.privacy}}
}

func (a access) credentials() map[string]snmp.Credentials {
	return map[string]snmp.Credentials{
		credentialsV2: {Version: "2c", Community: a.community},
		credentialsV3: {Version: "3", User: userV3, Auth: "sha256", AuthPassword: a.auth, Privacy: "aes128", PrivacyPassword: a.privacy},
	}
}
